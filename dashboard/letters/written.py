"""A letter as mail: a part of text, a part of HTML that says the same, and its charts as pictures in it."""

import hashlib
import io
import re
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from jinja2 import Environment, FileSystemLoader

from dashboard.chromium import missing
from dashboard.figures.theme import FONT, PALETTES
from dashboard.letters.content import Letter, Part, Picture, one_line
from dashboard.report.browser import open_press
from dashboard.report.markup import Drawing

# No mail is larger, so that none is cut short on its way or held back by a phone.
LARGEST_BYTES: Final = 60_000
PICTURE_PX: Final = 480
_COLOURS: Final = 48
_WIDTH: Final = 72
_PAGES: Final = Environment(loader=FileSystemLoader(Path(__file__).parent), autoescape=True)
# A header is one line up to what SMTP takes (RFC 5322, 2.1.1): folded, a long address would be encoded as if it were prose.
_POLICY: Final = SMTP.clone(max_line_length=900)
_ASCII_BLANKS: Final = re.compile(r"[ \t\r\n\f\v]+")
_NARROW: Final = str.maketrans({"\u202f": " ", "\xa0": " "})


@dataclass(frozen=True)
class Envelope:
    """Who writes to whom: `why` the reader gets it, `stop` the address at which it ends, `key` what no other letter has."""

    sender: str
    to: str
    why: str
    stop: str
    key: str
    at: datetime


@dataclass(frozen=True)
class _Shown:
    """A picture as the HTML shows it; without a `cid` in words."""

    title: str
    key: str
    words: str
    cid: str = ""


def text_of(letter: Letter, *, why: str = "", stop: str = "") -> str:
    """The letter as plain text of 72 characters a line."""
    hrefs = {part.href for part in letter.parts}
    parts = [
        [*_wrapped(letter.title.upper()), "", *_wrapped(letter.headline)],
        *(_lines(part) for part in letter.parts),
        *(_in_words(place, picture) for place, picture in enumerate(letter.pictures, start=1)),
        *([[f"The dashboard at this month: {letter.href}"]] if letter.href and letter.href not in hrefs else []),
        _wrapped(" ".join(letter.cautions)),
        [
            *_wrapped(f"{letter.selected} Made by fitledger on {letter.made}. This letter names no rider. {why}".strip()),
            *([f"To get this letter no more: {stop}"] if stop else []),
        ],
    ]
    return "\n\n".join("\n".join(lines) for lines in parts).translate(_NARROW) + "\n"


def _lines(part: Part) -> list[str]:
    lines = [part.name.upper()]
    for one in part.lines:
        lines += _wrapped(one.words, "- ")
        lines += [f"  {one.href}"] if one.href else []
    lines += [] if part.lines else [part.nothing]
    return [*lines, f"Shown at {part.href}"] if part.href else lines


def _in_words(place: int, picture: Picture) -> list[str]:
    told = "It shows the figures that are told above." if picture.is_told else picture.words
    return [*_wrapped(f"PICTURE {place}: {picture.title}"), *_wrapped(told)]


def _wrapped(words: str, begin: str = "") -> list[str]:
    return textwrap.wrap(
        _ASCII_BLANKS.sub(" ", words),
        _WIDTH,
        initial_indent=begin,
        subsequent_indent=" " * len(begin),
        break_long_words=False,
        break_on_hyphens=False,
    )


def pictures_of(letter: Letter) -> list[bytes]:
    """The charts of a letter as PNG; none where this machine cannot draw, so that they are told in words.

    Raises ReportError where the browser fails.
    """
    if missing() or find_spec("PIL") is None:
        return []
    with open_press() as press:
        drawn = press.pictures([Drawing(one.figure, PICTURE_PX, one.words) for one in letter.pictures])
        return [_with_few_colours(picture) for picture in drawn]


def _with_few_colours(picture: bytes) -> bytes:
    """The same PNG in a fifth of the bytes: a chart has few colours, and what smooths its edges needs few more."""
    from PIL import Image

    few = io.BytesIO()
    with Image.open(io.BytesIO(picture)) as whole:
        whole.convert("RGB").quantize(_COLOURS, dither=Image.Dither.NONE).save(few, "PNG", optimize=True)
    return few.getvalue()


def message_of(letter: Letter, pictures: Sequence[bytes], envelope: Envelope) -> EmailMessage:
    """The letter to one reader. A chart without a picture is told in words, and so is one that would make it too large."""
    for n_pictures in range(len(pictures), -1, -1):
        message = _message(letter, pictures[:n_pictures], envelope)
        if len(message.as_bytes()) < LARGEST_BYTES:
            break
    return message


def _message(letter: Letter, pictures: Sequence[bytes], envelope: Envelope) -> EmailMessage:
    message = EmailMessage(policy=_POLICY)
    domain = envelope.sender.rpartition("@")[2]
    key = hashlib.sha256(envelope.key.encode()).hexdigest()[:32]
    message["Subject"] = one_line(letter.title)
    message["From"] = Address("fitledger", addr_spec=envelope.sender)
    message["To"] = Address(addr_spec=envelope.to)
    message["Date"] = format_datetime(envelope.at)
    message["Message-ID"] = f"<{key}@{domain}>"
    message["Auto-Submitted"] = "auto-generated"
    if envelope.stop:
        message["List-Unsubscribe"] = f"<{envelope.stop}>"
        if envelope.stop.startswith("https:"):
            message["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    message.set_content(text_of(letter, why=envelope.why, stop=envelope.stop), cte="quoted-printable")
    shown = list(_shown(letter.pictures, len(pictures), f"{key}@{domain}"))
    html = html_of(letter, shown, envelope.why, envelope.stop)
    message.add_alternative(html, subtype="html", cte="quoted-printable")
    body = message.get_payload()[1]  # type: ignore[index]
    for picture, content in zip(shown, pictures, strict=False):
        body.add_related(content, "image", "png", cid=f"<{picture.cid}>", disposition="inline")  # type: ignore[union-attr]
    return message


def _shown(pictures: Sequence[Picture], n_drawn: int, key: str) -> Iterator[_Shown]:
    for place, picture in enumerate(pictures):
        yield _Shown(picture.title, picture.key, picture.words.translate(_NARROW), f"{place}.{key}" if place < n_drawn else "")


def html_of(letter: Letter, shown: Sequence[_Shown], why: str, stop: str) -> str:
    """The letter as HTML that mail programs read: every style where it is used, nothing from elsewhere."""
    return _PAGES.get_template("letter.html").render(
        letter=letter,
        pictures=shown,
        colours=asdict(PALETTES["light"]),
        font=FONT.replace('"', "'"),
        width=PICTURE_PX,
        why=why,
        stop=stop,
    )
