"""All captures of one snapshot as frames, from which any selection's are cut out; read and summed once."""

import threading

from dashboard.questions.memory.remembering import Remember, at_once
from dashboard.questions.memory.sizes import held_bytes
from dashboard.questions.models.captures import Captures, Flags, Ints, read_captures, selected_cells
from dashboard.questions.models.forms import PLAIN, Form
from dashboard.questions.models.frames import Frame, frame_like, frame_of
from dashboard.questions.selection.scope import Scope
from dashboard.questions.selection.selection import Selection
from shared.settings import Settings
from shared.warehouse import Warehouse


class Study:
    """All captures and their frames, which are summed when an outcome is first asked for. Thread-safe."""

    def __init__(self, captures: Captures, fit: Ints) -> None:
        self.captures = captures
        self._fit = fit
        # Of each outcome that of one form, the one its models were last asked in.
        self._frames: dict[str, tuple[Form, Frame]] = {}
        self._lock = threading.Lock()
        self._bytes = self._held()

    @property
    def n_bytes(self) -> int:
        """The bytes that captures and frames hold together, as when the last frame was summed."""
        return self._bytes

    def frame(self, outcome: str, kept: Flags, form: Form = PLAIN) -> Frame:
        """The frame of one outcome in the cells where `kept` (cells of the study,) is true, its models of a form."""
        with self._lock:
            if outcome not in self._frames or self._frames[outcome][0] != form:
                self._frames[outcome] = (form, self._summed(outcome, form))
                self._bytes = self._held()
            whole = self._frames[outcome][1]
        return whole.chosen(kept[whole.captures.place])

    def _summed(self, outcome: str, form: Form) -> Frame:
        like = next((frame for own, frame in self._frames.values() if own == form and frame.cells.own_products is None), None)
        if like is None or not len(like.captures):
            return frame_of(self.captures, outcome, form.columns())
        return frame_like(like, self.captures, outcome)

    def _held(self) -> int:
        return held_bytes(self.captures, self._fit, self._frames)

    def selected(self, warehouse: Warehouse, selection: Selection, scope: Scope, remember: Remember) -> Flags:
        """Which cells the selection asks for, (cells,)."""
        return selected_cells(warehouse, self.captures, self._fit, selection, scope, remember)


def study_of(warehouse: Warehouse, settings: Settings, remember: Remember = at_once) -> Study:
    """The study of the warehouse's present snapshot."""
    study: Study = remember(("study",), lambda: Study(*read_captures(warehouse, settings)))
    return study
