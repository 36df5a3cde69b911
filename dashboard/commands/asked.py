"""The asker as a command has it: of the operating system's user, who sees all, with notes in the log of access."""

from pathlib import Path

from dashboard.accounts.access import noted, user_of_command
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker
from dashboard.questions.door.readers import Reader, Role
from shared.settings import load_settings


class _Notes:
    def __init__(self, warehouse: Path) -> None:
        self._warehouse = warehouse

    def opened(self, what: str, riders: tuple[str, ...]) -> None:
        """Notes what was looked at."""
        noted(self._warehouse, "opened", what, riders=riders)

    def done(self, did: str, what: str) -> None:
        """Notes what was changed."""
        noted(self._warehouse, did, what)


def asked_by_command(warehouse: Path, settings: Path | None) -> AskedBy:
    """The asker of a warehouse for whoever runs a command."""
    reader = Reader(user_of_command(), Role.LOCAL)
    return AskedBy(Asker(warehouse, load_settings(settings)), lambda: reader, _Notes(warehouse))
