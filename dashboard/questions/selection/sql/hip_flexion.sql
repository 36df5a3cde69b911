-- Fragment: the hip flexion of `exams` in steps of 15 degrees (common practice, no source).
CASE
    WHEN exams.hip_flexion_deg < 90 THEN 'below 90°'
    WHEN exams.hip_flexion_deg < 105 THEN '90 to 104°'
    WHEN exams.hip_flexion_deg < 120 THEN '105 to 119°'
    WHEN exams.hip_flexion_deg IS NOT NULL THEN '120° and above'
END
