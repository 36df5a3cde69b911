-- Answers: the studio's own quantile of sway in all its captures. Grain and key: one row a studio, in the order of studio_no.
-- Inputs: mart.capture_facts, mart.fits.
SELECT fits.studio_no, quantile_cont(facts.knee_sway_mm, $knee_high_sway_quantile) AS high_sway_mm
FROM mart.fits AS fits
LEFT JOIN mart.capture_facts AS facts ON facts.fit_no = fits.fit_no
GROUP BY fits.studio_no
ORDER BY fits.studio_no;
