"""Which letters are due, by the schedule or since a figure has moved, and what becomes of each."""

import logging
import secrets
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from email.message import EmailMessage
from functools import cached_property
from pathlib import Path
from typing import Final

from dashboard.letters.content import Letter, letter_to
from dashboard.letters.posting import MayBePostedError, NotPostedError, post
from dashboard.letters.stopping import stop_address
from dashboard.letters.written import Envelope, message_of, pictures_of
from dashboard.questions.door.asking import Asker
from shared.errors import FitledgerError, UsageError
from shared.logbook.letters import Claim, LetterReader, Letters, Signal
from shared.settings import settings_file
from shared.settings_letters import LETTER_ROLES, WEEKDAYS, Day, LetterRole

log = logging.getLogger("fitledger.letters")
Tell = Callable[[str], None]
_ASKED: Final = "asked"
_SAME: Final = "{address} was sent this letter before, or it may have gone: --again sends it once more."
NAMES: Final[dict[LetterRole, str]] = {"owner": "the owner", "head_fitter": "the head fitter", "desk": "the desk"}


def last_scheduled(now: datetime, day: Day, hour: int) -> datetime | None:
    """The last time by `now` at which letters were due, in the same clock; None where they never are."""
    if day == "never":
        return None
    if day == "first":
        due = datetime.combine(now.date().replace(day=1), time(hour), now.tzinfo)
        return due if due <= now else datetime.combine((due - timedelta(days=1)).date().replace(day=1), time(hour), now.tzinfo)
    due = datetime.combine(now.date() - timedelta(days=(now.weekday() - WEEKDAYS.index(day)) % 7), time(hour), now.tzinfo)
    return due if due <= now else due - timedelta(days=7)


@dataclass
class Post:
    """The letters of one warehouse: `now` tells this machine's time with its zone, `tell` takes one line a letter."""

    asker: Asker
    now: Callable[[], datetime]
    tell: Tell

    @cached_property
    def book(self) -> Letters:
        return Letters(self.asker.path)

    def send_due(self) -> int:
        """Sends what is due to everybody; gives how many letters went. Faults are told and kept for the next time."""
        return sum(self._send_to(role) for role in LETTER_ROLES)

    def send_now(self, role: LetterRole, *, again: bool = False) -> int:
        """Sends the letter of a role now, unless its reader has one that says the same. Raises UsageError where nobody is to
        get it."""
        if not self.asker.settings.letters.to(role):
            raise UsageError(f"letters.{role}: found no address, expected one or more. Add them to [letters] in the settings.")
        made = _Made(role, self.asker)
        sent = 0
        for reader in self._readers(role):
            if reader.has_stopped:
                self.tell(f"{reader.address} wants no letter any more; nothing was sent there.")
                continue
            claim = self.book.claim(reader, f"{_ASKED} {made.letter.content[:16]}", self._utc, again=again)
            if claim is None:
                self.tell(_SAME.format(address=reader.address))
                continue
            sent += self._hand_over(claim, made, may_repeat=again)
        return sent

    def _send_to(self, role: LetterRole) -> int:
        made, sent = _Made(role, self.asker), 0
        for reader in self._readers(role):
            if reader.has_stopped:
                continue
            for occasion in self._occasions(reader, made):
                if claim := self.book.claim(reader, occasion, self._utc):
                    sent += self._hand_over(claim, made)
        return sent

    def _readers(self, role: LetterRole) -> list[LetterReader]:
        return [self.book.reader(role, address) for address in self.asker.settings.letters.to(role)]

    def _occasions(self, reader: LetterReader, made: "_Made") -> Iterator[str]:
        """What is to be tried again; the last time of the schedule; and a move that the reader was not told of."""
        yield from self.book.to_try_again(reader, self._utc)
        settings = self.asker.settings.letters
        if due := last_scheduled(self.now(), settings.day, settings.hour):
            yield f"schedule {due:%Y-%m-%d}"
        if settings.on_signals and (fresh := self.book.new_signals(reader, made.letter.signals)):
            yield f"signal {_spoken(fresh)}"

    def _hand_over(self, claim: Claim, made: "_Made", *, may_repeat: bool = False) -> int:
        reader = claim.reader
        try:
            letter = made.letter
            if not may_repeat and self.book.last_content(reader) == letter.content:
                self.book.nothing_new(claim, letter.content, letter.signals)
                if claim.occasion.startswith(_ASKED):
                    self.tell(_SAME.format(address=reader.address))
                return 0
            message = self._message(claim, made)
            how = post(message, reader.address, _file_name(claim), self.asker.settings.letters, _folder())
        except MayBePostedError as fault:
            self.book.left_unknown(claim, str(fault))
            self.tell(
                f"letter to {NAMES[made.role]}, {reader.address}: {fault} It may have gone, and is not sent again by itself."
            )
            return 0
        except FitledgerError as fault:
            for_good = isinstance(fault, NotPostedError) and fault.for_good
            self.book.failed(claim, str(fault), self._utc, for_good=for_good)
            self.tell(f"letter to {NAMES[made.role]}, {reader.address}, not sent: {fault}")
            return 0
        self.book.gone(claim, letter.content, letter.signals)
        self.tell(f"letter to {NAMES[made.role]}, {reader.address}: {how}")
        return 1

    def _message(self, claim: Claim, made: "_Made") -> EmailMessage:
        settings, reader = self.asker.settings.letters, claim.reader
        envelope = Envelope(
            sender=str(settings.sender),
            to=reader.address,
            why=f"It goes to {NAMES[made.role]} by the settings of the studio's fitledger.",
            stop=stop_address(self.book, reader, settings),
            key=f"{reader.role} {reader.address} {claim.occasion}",
            at=self.now(),
        )
        return message_of(made.letter, made.pictures, envelope)

    @property
    def _utc(self) -> datetime:
        return self.now().astimezone(UTC).replace(tzinfo=None)


@dataclass
class _Made:
    """The letter of a role and its pictures, made when the first reader is to get them."""

    role: LetterRole
    asker: Asker

    @cached_property
    def letter(self) -> Letter:
        return letter_to(self.role, self.asker, self.asker.settings.letters.address)

    @cached_property
    def pictures(self) -> list[bytes]:
        return pictures_of(self.letter)


def _spoken(signals: Sequence[Signal]) -> str:
    return ", ".join(sorted(f"{one.figure} {one.direction} {one.period_from:%Y-%m}" for one in signals))


def _file_name(claim: Claim) -> str:
    """A name for the file of a letter that no other one has, and that holds no address."""
    occasion = "-".join("".join(sign if sign.isalnum() or sign == "-" else " " for sign in claim.occasion).split())[:80]
    return f"{claim.reader.role}-{claim.reader.number}-{occasion}.eml"


def _folder() -> Path:
    """From where the paths of the settings are read."""
    return settings_file().parent


def send_due_quietly(asker: Asker, tell: Tell) -> None:
    """Sends what is due after a load, where letters are set: whatever goes wrong is told in a line, and the load is done."""
    if not asker.settings.letters.is_set:
        return
    try:
        Post(asker, lambda: datetime.now().astimezone(), tell).send_due()
    except FitledgerError as fault:
        tell(f"letters not looked at, will be tried again: {fault}")
    except Exception as fault:
        # A fault of the program's own, in a letter, is none of the load's.
        reference = secrets.token_hex(4)
        log.error("Fault %s", reference, exc_info=fault)
        tell(f"letters not sent: something in the program failed. It is noted in the log under {reference}.")
