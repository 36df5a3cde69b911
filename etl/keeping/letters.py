"""What the doctor tells of the letters that did not go."""

from pathlib import Path
from typing import Literal

from shared.errors import LogbookError
from shared.logbook.letters import MOST_TRIES, Letters
from shared.logbook.store import Logbook
from shared.statistics.wording import counted


def letters_told(warehouse: Path) -> tuple[Literal["note", "do"], str, str] | None:
    """State, words and what to do, by the last letter that failed; None where none did since the last one that went."""
    if not Logbook(warehouse).file.exists():
        return None
    try:
        unsent = Letters(warehouse).unsent()
    except LogbookError:
        return None  # told of the logbook itself
    if not unsent:
        return None
    last = unsent[0]
    n = counted(len(unsent), "letter")
    words = f"{n} not sent; the last to {last.address} ({last.role}), tried on {last.tried_at} UTC: {last.told}"
    if last.state == "later":
        return "note", words, f"It is tried again by itself; this was try {last.n_tries} of {MOST_TRIES}."
    anew = f"run fitledger letter --to {last.role} --again."
    return "do", words, f"Ask there whether it came; if not, {anew}" if last.state == "unknown" else f"Mend this, then {anew}"
