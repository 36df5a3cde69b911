"""Ids of the Data page."""

from typing import Final

# The answer: what came in and what was left out, and what to do next.
CAME_IN: Final = "data-came-in"
NEXT: Final = "data-next"

# Load files.
UPLOAD: Final = "data-upload"
"""Where files are handed in; filled once, so that a filter does not take away what was found in them."""
TAKEN: Final = "data-taken"
"""What taking a load back would do, and what it did."""
HISTORY: Final = "data-history"
"""Every load, each with a way to take it back."""

# Left out; deserves a look; noise; what is held.
LEFT_OUT: Final = "data-left-out"
LOOK: Final = "data-look"
COMPLETE: Final = "data-complete"
NOISE: Final = "data-noise"
RIG: Final = "data-rig"
HELD: Final = "data-held"
WHERE_FROM: Final = "data-where-from"

# The tables that the pictures lead to.
LOADS_TABLE: Final = "data-loads-table"
REASONS_TABLE: Final = "data-reasons-table"
RIG_TABLE: Final = "data-rig-table"
READS_TABLE: Final = "data-reads-table"

# Inside UPLOAD. DROP, SAID, RECEIVED, WORKING, STEP, FINDINGS, LOAD, ASKED and SAYING are known to assets/page-data.js.
DROP: Final = "data-drop"
SAID: Final = "data-said"
RECEIVED: Final = "data-received"
WORKING: Final = "data-working"
STEP: Final = "data-step"
"""The step that a check or load is at, for the eye alone: read aloud, it would never end."""
FINDINGS: Final = "data-findings"
LOAD: Final = "data-load"
ASIDE: Final = "data-aside"
MAP: Final = "data-map"
"""Proposes how the files are read."""
AGAIN: Final = "data-again"
"""Asks what was put off."""
SAYING: Final = "data-saying"
"""The answer that the reader gives to the question of a mapping."""
USE_MAPPING: Final = "data-use-mapping"
ASKED: Final = "data-asked"
"""The load that the reader asks to take back."""
SCRIPTED: Final = (SAID, RECEIVED, STEP, FINDINGS, ASKED, SAYING)
"""What assets/page-data.js fills."""

# Inside TAKEN.
SURE: Final = "data-sure"
KEEP: Final = "data-keep"
