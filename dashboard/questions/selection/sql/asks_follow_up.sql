-- Fragment: true for a row of `fits` (mart.fits) that asks for a follow-up: a first fit or a refit, booked or not. A follow-up visit
-- is a return itself and asks for none. To count it where another one was booked would take in those who mean to come alone.
(fits.visit_kind <> 'follow_up')
