"""Settings of the letters that come by themselves: to whom, when, and through which mail server."""

from email.errors import HeaderParseError
from email.headerregistry import Address
from typing import Annotated, Final, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from shared.settings_running import Section

LetterRole = Literal["owner", "head_fitter", "desk"]
LETTER_ROLES: Final[tuple[LetterRole, ...]] = ("owner", "head_fitter", "desk")
Day = Literal["first", "monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday", "never"]
WEEKDAYS: Final[tuple[Day, ...]] = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
THIS_MACHINE: Final = ("localhost", "127.0.0.1", "::1")


def _mail_address(value: str) -> str:
    """One address and nothing else: it becomes a header and a word of SMTP."""
    try:
        if not (value.isascii() and value.isprintable() and " " not in value):
            raise ValueError
        parsed = Address(addr_spec=value)
        if not (parsed.username and parsed.domain):
            raise ValueError
    except (ValueError, HeaderParseError, IndexError) as fault:
        raise PydanticCustomError("mail_address", "expected a mail address such as owner@example.org") from fault
    return value


def _base(value: str) -> str:
    """Where the dashboard is, ending with a slash; nothing where it is not said."""
    parts = urlsplit(value)
    is_known = parts.scheme in ("http", "https") and parts.netloc and not parts.query and not parts.fragment
    if value and not (is_known and value.isascii() and value.isprintable() and not set(' <>"') & set(value)):
        raise PydanticCustomError("base", "expected the address of the dashboard, such as https://fits.example.org/studio/")
    return value if not value or value.endswith("/") else f"{value}/"


MailAddress = Annotated[str, AfterValidator(_mail_address)]


class Letters(Section):
    """Who is sent the letter of which role, on which day (the first of a month, a day of the week, never) and hour of this
    machine's clock, and through which server; without one, as files into `folder`.

    The password is never a setting: it is the first line of `password_file`, or the environment's FITLEDGER_MAIL_PASSWORD.
    `tls`: "starttls", "tls" from the first byte, or "none", which a server on this machine alone may have. `certificate`: a
    file that the server's certificate is held against, where it is of no known authority. `address`: where the dashboard is.
    """

    owner: tuple[MailAddress, ...] = ()
    head_fitter: tuple[MailAddress, ...] = ()
    desk: tuple[MailAddress, ...] = ()
    day: Day = "first"
    hour: Annotated[int, Field(ge=0, le=23)] = 7
    on_signals: bool = True
    server: str = ""
    port: Annotated[int, Field(ge=1, le=65535)] = 587
    tls: Literal["starttls", "tls", "none"] = "starttls"
    certificate: str = ""
    user: str = ""
    password_file: str = ""
    sender: MailAddress | None = None
    folder: str = ""
    address: Annotated[str, AfterValidator(_base)] = ""
    # How long the server may take for one answer, and for a letter as a whole.
    answer_seconds: Annotated[float, Field(gt=0, le=300)] = 20.0
    letter_seconds: Annotated[float, Field(gt=0, le=600)] = 120.0

    def to(self, role: LetterRole) -> tuple[str, ...]:
        """The addresses of a role, each once."""
        found: tuple[str, ...] = getattr(self, role)
        return tuple(dict.fromkeys(one.lower() for one in found))

    @property
    def is_set(self) -> bool:
        """Whether anybody is to be sent letters."""
        return any(self.to(role) for role in LETTER_ROLES)

    @model_validator(mode="after")
    def _has_a_way(self) -> "Letters":
        if self.is_set and not (self.server or self.folder):
            raise PydanticCustomError("no_way", "name a server, or a folder that letters are laid into")
        if self.is_set and self.sender is None:
            raise PydanticCustomError("no_sender", "name a sender, the address that letters come from")
        if self.server and self.tls == "none" and self.server not in THIS_MACHINE:
            raise PydanticCustomError("open_mail", 'tls = "none" is for a server on this machine alone; use starttls or tls')
        return self
