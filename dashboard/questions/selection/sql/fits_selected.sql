-- Fragment: true for a row of `fits` (mart.fits) that the selection asks for. Asked by the foot, a fit belongs to the
-- selection where at least one of its feet does.
($date_from IS NULL OR fits.session_date >= CAST($date_from AS DATE))
AND ($date_to IS NULL OR fits.session_date <= CAST($date_to AS DATE))
AND ($rider IS NULL OR list_contains(CAST($rider AS VARCHAR[]), fits.rider_id))
AND ($studio IS NULL OR list_contains(CAST($studio AS VARCHAR[]), fits.studio_id))
AND ($fitter IS NULL OR list_contains(CAST($fitter AS VARCHAR[]), fits.fitter_id))
AND ($visit_kind IS NULL OR list_contains(CAST($visit_kind AS VARCHAR[]), fits.visit_kind))
AND ($bike_kind IS NULL OR list_contains(CAST($bike_kind AS VARCHAR[]), fits.bike_kind))
AND ($riding IS NULL OR list_contains(CAST($riding AS VARCHAR[]), fits.riding))
AND (
    ($arch_height IS NULL AND $forefoot IS NULL)
    OR ({left_selected})
    OR ({right_selected})
)
