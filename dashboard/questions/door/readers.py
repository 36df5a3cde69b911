"""Who asks: the roles, and the reader that a question is answered for."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol


class Role(StrEnum):
    """What a reader may see. LOCAL is whoever sits at the machine of a dashboard that is served to it alone; NOBODY has not
    signed in where one must."""

    NOBODY = "nobody"
    LOCAL = "local"
    OWNER = "owner"
    HEAD_FITTER = "head_fitter"
    FITTER = "fitter"
    DESK = "desk"


# The roles that an account can have.
ACCOUNT_ROLES = (Role.OWNER, Role.HEAD_FITTER, Role.FITTER, Role.DESK)


@dataclass(frozen=True)
class Reader:
    """A reader by name and role; `fitter_id` says whose cases a fitter's own are."""

    name: str
    role: Role
    fitter_id: str | None = None

    @property
    def own_cases_only(self) -> bool:
        return self.role is Role.FITTER

    @property
    def calls_only(self) -> bool:
        """Whether the reader sees whom to call, and nothing else of a rider."""
        return self.role is Role.DESK

    @property
    def sees_the_studio(self) -> bool:
        """Whether the reader sees the whole studio's figures as they are."""
        return not self.own_cases_only and not self.calls_only

    @property
    def sees_notes(self) -> bool:
        """Whether what was noted of a rider is shown."""
        return self.role in (Role.LOCAL, Role.HEAD_FITTER, Role.FITTER)

    @property
    def may_load(self) -> bool:
        """Whether exports may be loaded, loads taken back and rejected rows read."""
        return self.role in (Role.LOCAL, Role.OWNER, Role.HEAD_FITTER)


class Notes(Protocol):
    """Takes note of what readers open and do."""

    def opened(self, what: str, riders: tuple[str, ...]) -> None:
        """Notes that an answer with cases is about to be given: of these riders, or of whom the selection holds. Raises
        AccessLogError where nothing may be given without a note, and none can be taken."""

    def done(self, did: str, what: str) -> None:
        """Notes that something was changed."""


class NoNotes:
    """Where nobody asks for notes."""

    def opened(self, what: str, riders: tuple[str, ...]) -> None:
        """Takes none."""

    def done(self, did: str, what: str) -> None:
        """Takes none."""


NOBODY = Reader("", Role.NOBODY)
LOCAL = Reader("", Role.LOCAL)
