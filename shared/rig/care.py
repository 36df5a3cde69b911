"""What follows from a finding on a rig for figures that rest on its captures."""

from collections.abc import Sequence
from datetime import date
from typing import Protocol

from shared.clock import spoken_day
from shared.rig.findings import RigFinding, stretch
from shared.settings import Note, Settings

# From this share of exchanged captures on, no effect is claimed: below it, effects come out smaller by less than a tenth.
_UNCLAIMED_FROM = 0.05


class Watched(Protocol):
    """An answer that holds what is found of the rigs."""

    @property
    def findings(self) -> tuple[RigFinding, ...]: ...


def concerning(
    rig: Watched | None, studios: Sequence[str] = (), first: date | None = None, last: date | None = None
) -> tuple[RigFinding, ...]:
    """The findings on the rigs of these studios (none: all) that hold of fits between two dates (None: open)."""
    findings = rig.findings if rig else ()
    return tuple(each for each in findings if (not studios or each.studio in studios) and each.overlaps(first, last))


def unclaimed(findings: Sequence[RigFinding], what: str) -> str:
    """Why `what` (as in: effect of a support) is not claimed: left and right are exchanged; empty where it may be."""
    exchanged = [each for each in findings if each.kind == "exchange" and each.estimate >= _UNCLAIMED_FROM]
    if not exchanged:
        return ""
    where = exchanged[0].studio + ("" if exchanged[0].share_is_all else " in some captures") + stretch(exchanged[0])
    return (
        f"No {what} is claimed: left and right are exchanged at {where}, as Data tells. "
        "Mend the export and load it again, or choose a studio, or dates, without it."
    )


def neutral_moved(findings: Sequence[RigFinding], first: date | None = None, last: date | None = None) -> str:
    """Why no effect on the distance from neutral is claimed over fits between two dates: neutral is not the same for all of
    them, or not right and left; empty where it is. Not of the signed tilt: models take a moved zero for the visits' own.
    """
    for finding in findings:
        is_before = finding.begins and finding.since and first and finding.since <= first
        if finding.quantity == "tilt" and finding.kind in {"step", "slope", "side"} and not is_before:
            since = f" since {spoken_day(finding.since)}" if finding.begins and finding.since else ""
            way = "dates on one side of that day, or another studio" if since else "another studio"
            what = otherwise(finding)
            what = what[:1].lower() + what[1:] + since
            return (
                f"No effect on the distance from neutral is claimed: {what}, as Data tells, so that neutral is not "
                f"the same for all of these knees. Choose {way}."
            )
    return ""


def care(findings: Sequence[RigFinding], first: date | None = None, last: date | None = None) -> str:
    """That fits before and after the day on which a finding begins are compared with care; empty where none does between two
    dates. A knee's change from arrival to departure stays as it is: both of its captures stand on the same rig."""
    for finding in findings:
        since = finding.since
        if since and finding.begins and not (first and since <= first) and not (last and since > last):
            return f"{otherwise(finding)} since {spoken_day(since)}: compare fits before and after that day with care."
    return ""


def of_sides(findings: Sequence[RigFinding]) -> str:
    """That side differences hold a part of the rig's own; empty where right and left are measured alike."""
    apart = [each for each in findings if each.kind == "side" or (each.kind == "exchange" and not each.share_is_all)]
    if not apart:
        return ""
    return f"{otherwise(apart[0])} right than left, as Data tells: side differences hold a part that is the rig's."


def with_notes(settings: Settings, findings: Sequence[RigFinding]) -> Settings:
    """The settings, with a dated note on each day from which a rig measures otherwise."""
    notes = [Note(on=each.since, words=f"{otherwise(each)}, as Data tells.") for each in findings if each.since and each.begins]
    if not notes:
        return settings
    trends = settings.trends.model_copy(update={"notes": (*settings.trends.notes, *notes)})
    return settings.model_copy(update={"trends": trends})


def otherwise(finding: RigFinding) -> str:
    """The finding without its figures."""
    return f"The rig at {finding.studio} measures {finding.quantity} otherwise"
