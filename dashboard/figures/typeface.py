"""The typeface that comes with the pages, and how wide text is in it: margins are made for the labels that stand in them.

tests/typeface/make.py makes the typeface and the table of its widths. Where a browser does not show it, another one takes its
place. Those that systems bring are narrower, but for one family that is 7 to 18 % wider; that one is drawn smaller.
"""

import hashlib
import json
import math
import re
from base64 import b64encode
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Final

_HERE: Final = Path(__file__).parent
FILE: Final = _HERE.parent / "assets" / "typeface.woff2"
FAMILY: Final = "Fitledger"
STAND_IN: Final = "Fitledger-stand-in"
# What stands in, by weight: names that systems know it by, and how large it is drawn (measured on the labels of the charts).
_STAND_INS: Final = {
    400: (("DejaVu Sans", "DejaVuSans", "Verdana"), 93),
    700: (("DejaVu Sans Bold", "DejaVuSans-Bold", "Verdana Bold"), 85),
}
# What text may take more of where another typeface stands in.
SLACK: Final = 1.05
_MARKUP: Final = re.compile(r"<(?P<end>/?)(?P<tag>b|i|sub|sup)>")
_LINES: Final = re.compile(r"<br ?/?>")


@cache
def _widths() -> dict[str, dict[str, int]]:
    """The width of each character in thousandths of the size of the text, for regular and bold text."""
    read: dict[str, dict[str, int]] = json.loads((_HERE / "advances.json").read_text(encoding="utf-8"))
    return read


def text_px(text: str, size_px: float) -> float:
    """How wide a label of a chart is: its longest line, with the markup of labels. Unknown characters: as wide as high."""
    return max(_line_px(line, size_px) for line in _LINES.split(text))


def room_px(labels: Iterable[str], size_px: float, *, gap_px: float = 0) -> int:
    """Room for the widest of the labels in any typeface, and `gap_px` more."""
    widest = max((text_px(label, size_px) for label in labels), default=0.0)
    return math.ceil(SLACK * widest + gap_px)


def _line_px(line: str, size_px: float) -> float:
    total, is_bold, at = 0, 0, 0
    for mark in [*_MARKUP.finditer(line), None]:
        widths = _widths()["bold" if is_bold else "regular"]
        total += sum(widths.get(sign, 1000) for sign in line[at : mark.start() if mark else None])
        if mark:
            at = mark.end()
            is_bold += (mark["tag"] == "b") * (-1 if mark["end"] else 1)
    return total * size_px / 1000


def face(address: str) -> str:
    """The rules that name the typeface, from where it is read, and what stands in for it until it is there."""
    stand_ins = "".join(
        f"@font-face{{font-family:{STAND_IN};font-weight:{weight};size-adjust:{size}%;src:{_locals(names)}}}"
        for weight, (names, size) in _STAND_INS.items()
    )
    return (
        f"@font-face{{font-family:{FAMILY};font-style:normal;font-weight:400 700;font-display:swap;"
        f"src:url({address}) format('woff2')}}{stand_ins}"
    )


@cache
def address(prefix: str) -> str:
    """Where a served dashboard has it: a new typeface has a new address, so that none is kept too long."""
    return f"{prefix}assets/{FILE.name}?{hashlib.sha256(FILE.read_bytes()).hexdigest()[:12]}"


@cache
def inlined() -> str:
    """The typeface as a part of a document that needs nothing else."""
    return f"data:font/woff2;base64,{b64encode(FILE.read_bytes()).decode()}"


def _locals(names: Iterable[str]) -> str:
    return ",".join(f"local('{name}')" for name in names)
