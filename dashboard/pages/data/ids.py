"""Ids of the Data page."""

from typing import Final

ANSWER: Final = "data-answer"
"""The headline, and the loads and reasons as pictures."""
UPLOAD: Final = "data-upload"
"""Where files are handed in; filled once, so that a filter does not take away what was found in them."""
HISTORY: Final = "data-history"
"""Every load, each with a way to take it back."""
TAKEN: Final = "data-taken"
"""What taking a load back would do, and what it did."""
COMPLETE: Final = "data-complete"
"""How complete the selected fits are."""
NOISE: Final = "data-noise"
"""How much a knee differs from itself."""
RIG: Final = "data-rig"
"""Whether the rig still measures the same."""
REST: Final = "data-rest"
"""What the warehouse holds, what was left out and why, warnings."""
PLACES: Final = (ANSWER, UPLOAD, HISTORY, TAKEN, COMPLETE, NOISE, RIG, REST)

# The tables that the pictures lead to.
LOADS_TABLE: Final = "data-loads-table"
REASONS_TABLE: Final = "data-reasons-table"
RIG_TABLE: Final = "data-rig-table"

# Inside UPLOAD. DROP, SAID, RECEIVED, WORKING, STEP, FINDINGS, LOAD and ASKED are known to assets/page-data.js.
DROP: Final = "data-drop"
SAID: Final = "data-said"
RECEIVED: Final = "data-received"
WORKING: Final = "data-working"
STEP: Final = "data-step"
"""The step that a check or load is at, for the eye alone: read aloud, it would never end."""
FINDINGS: Final = "data-findings"
LOAD: Final = "data-load"
ASIDE: Final = "data-aside"
ASKED: Final = "data-asked"
"""The load that the reader asks to take back."""
SCRIPTED: Final = (SAID, RECEIVED, STEP, FINDINGS, ASKED)
"""What assets/page-data.js fills."""

# Inside TAKEN.
SURE: Final = "data-sure"
KEEP: Final = "data-keep"
