"""What happened to this rider: one rider's timeline, or the list of riders where none or several are named."""

from datetime import date

from dashboard.questions.data.answers_noise import Noise
from dashboard.questions.followed.answers_important import ImportantChange
from dashboard.questions.followed.held import known_noise
from dashboard.questions.followed.worth import limits_of
from dashboard.questions.riders.answers_riders import Riders, RiderTimeline
from dashboard.questions.riders.riders_list import listed
from dashboard.questions.riders.riders_timeline import timeline
from dashboard.questions.selection.every_fit import Remember, at_once
from dashboard.questions.selection.scope import scope_of
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.warehouse import Warehouse


def ask(
    warehouse: Warehouse,
    selection: Selection,
    settings: Settings,
    noise: Noise | None = None,
    today: date | None = None,
    remember: Remember | None = None,
    important_change: ImportantChange | None = None,
) -> Riders | RiderTimeline:
    """One rider's timeline, else the list of riders; without `noise` no change is told from chance.

    `today`: what is due is told by this day; without it by the data's last date. important_change: of all fits; without it no
    change of comfort or pain is told to be worth it.
    """
    scope = scope_of(warehouse, selection, settings, remember or at_once)
    scope.require_fits()
    if len(selection.rider) == 1:
        return timeline(warehouse, scope, selection, settings, noise, today, remember, limits_of(important_change))
    known = known_noise(noise)
    return listed(warehouse, scope, selection, settings, known["tilt"].mdc95 if "tilt" in known else None, today, remember)
