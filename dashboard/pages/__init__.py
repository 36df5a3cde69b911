"""The pages in the order of the navigation."""

from dashboard.components.page import Page
from dashboard.pages.data.callbacks import PAGE as DATA
from dashboard.pages.fitters.callbacks import PAGE as FITTERS
from dashboard.pages.next_rider.callbacks import PAGE as NEXT
from dashboard.pages.returns.callbacks import PAGE as RETURNS
from dashboard.pages.riders.callbacks import PAGE as RIDERS
from dashboard.pages.studio.callbacks import PAGE as STUDIO
from dashboard.pages.supports.callbacks import PAGE as SUPPORTS
from dashboard.pages.symmetry.callbacks import PAGE as SYMMETRY

PAGES: tuple[Page, ...] = (STUDIO, SUPPORTS, NEXT, SYMMETRY, RETURNS, FITTERS, RIDERS, DATA)
