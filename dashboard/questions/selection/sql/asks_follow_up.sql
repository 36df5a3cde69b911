-- Fragment: true for a row of `fits` (mart.fits) that asks for a follow-up; a follow-up visit does where another one was booked.
(fits.visit_kind <> 'follow_up' OR fits.booked_on IS NOT NULL)
