-- Fragment: the class of the foot posture index of `exams`: Redmond, Crosbie & Ouvrier 2006, Clin Biomech 21:89.
CASE
    WHEN exams.foot_posture_index < -4 THEN 'highly supinated'
    WHEN exams.foot_posture_index < 0 THEN 'supinated'
    WHEN exams.foot_posture_index <= 5 THEN 'neutral'
    WHEN exams.foot_posture_index <= 9 THEN 'pronated'
    WHEN exams.foot_posture_index IS NOT NULL THEN 'highly pronated'
END
