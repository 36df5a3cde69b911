-- Fragment: true for a row of `fits` (mart.fits) that holds a repeat capture: one with nothing changed on either foot.
fits.has_repeat
