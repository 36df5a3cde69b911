"""Finds claims in what a studio is told: words of direction, words of difference, intervals on one side of zero, bold, marks.

A claim is looked for in three steps. What hedges itself ("no clear change", "not enough yet") claims nothing. What one of
CLAIMS fits is a claim of that kind. What is left and still holds a word of direction must be known to claim nothing (silent.py,
the passages of the pages' text.md, what the questions tell of their methods); otherwise it is told as unknown, and a test
fails: a new sentence is put here, on one side or the other, by whoever writes it.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages
from typing import Any, Final

import dashboard.questions
from dashboard.components.text import read_text
from tests.nothing.pieces import Said, plain
from tests.nothing.silent import is_silent

_NUMBER: Final = r"[+-]?\d[\d,]*(?:\.\d+)?"
_SUPPORT: Final = (
    r"(?:A (?:low|medium|high|custom) insole|(?:Low|Medium|High|Custom) insole|One more varus shim|One mm of outward stance)"
)
# The interval of a difference, as it stands in brackets: "(-0.1 to 0.4", also with a sign of the unit behind the first end.
_ENDS: Final = rf"\((?P<low>{_NUMBER})(?: ?[a-z%°]+)? to (?P<high>{_NUMBER})"
# What a share of knees may show by noise alone: 2.5 %, half of what the smallest real change of one knee leaves out. That is an
# estimate itself, and shares are printed in whole percents.
_BY_CHANCE_PERCENT: Final = 3


@dataclass(frozen=True)
class Claim:
    """One claim: where it stands, its kind, and its sentence. `is_echo`: it repeats what another sentence tells in full."""

    place: str
    kind: str
    text: str
    is_answer: bool
    is_echo: bool


@dataclass(frozen=True)
class _Kind:
    """One kind of claim: its name, a pattern to be found in a sentence, and what must hold of the numbers found by it."""

    name: str
    pattern: re.Pattern[str]
    holds: Callable[[re.Match[str]], bool] = lambda _: True
    is_echo: bool = False


def _value(text: str) -> float:
    return float(text.replace(",", ""))


def _leaves_out_zero(found: re.Match[str]) -> bool:
    low, high = _value(found["low"]), _value(found["high"])
    return low > 0 or high < 0


def _beyond_chance(found: re.Match[str]) -> bool:
    return _value(found["low"]) > _BY_CHANCE_PERCENT


def _kind(name: str, pattern: str, holds: Callable[[re.Match[str]], bool] = lambda _: True, *, is_echo: bool = False) -> _Kind:
    return _Kind(name, re.compile(pattern), holds, is_echo)


CLAIMS: Final = (
    # Supports.
    _kind(
        "effect",
        rf"{_SUPPORT} (?:raises the tilt|lowers the tilt|adds sway|takes sway away|moves the knee (?:in|out)ward|"
        r"brings the knee nearer|takes the knee further|"
        r"brings knees that came [a-z ]+ nearer|takes knees that came [a-z ]+ further)",
    ),
    _kind("effect", r"^Came [a-z ]+: \d+ (?:nearer|further)", is_echo=True),
    _kind("effect", rf"^{_NUMBER} to {_NUMBER} (?:nearer|further|inward|outward|less|more)$", is_echo=True),
    _kind("effect", r": a clear change for (?:all )?\d+", is_echo=True),
    _kind("levels differ", rf"{_SUPPORT} differs between levels"),
    _kind("levels differ", r"by [a-z ]+: a difference for ", is_echo=True),
    _kind("drawn order", r"^By the draw, [a-z ]+ rose by .* (?:more|less) after "),
    _kind("dose bends", r"(?:Shims|Stance) and [a-z ]+: not a straight line"),
    _kind("off neutral", rf"Knees that came [a-z ]+ left {_NUMBER}° (?:nearer to|further from) neutral beyond the noise"),
    _kind("off neutral", r"[Kk]nees that came [a-z ]+ left (?:nearer|further)", is_echo=True),
    _kind("responders", rf"of knees left (?:nearer|further|with (?:less|more)).* {_ENDS}", _beyond_chance),
    # Studio, trends, periods.
    _kind("comfort", r"Comfort (?:rose|fell) by"),
    _kind("moved", r"beyond the (?:upper|lower) limit (?:in|from) "),
    _kind("moved", r"\d+ (?:week|month|quarter)s in a row (?:above|below) the centre"),
    _kind("moved", r"(?:rising|falling) for \d+ (?:week|month|quarter)s"),
    _kind("moved", r"\d+ of \d+ figures? moved by more", is_echo=True),
    _kind("moved", r"(?:above|below) (?:the (?:upper|lower) limit|its centre), |: (?:rising|falling), ", is_echo=True),
    _kind("moved", r"(?:^|: )\d+ signals?\.", is_echo=True),
    _kind("moved", r"^(?:above|below) limits|^a run (?:above|below) centre|^(?:rising|falling) steadily", is_echo=True),
    _kind(
        "moved",
        r"^(?:base, |not over yet, )*(?:outside limits|a run on one side|rising or falling steadily)(?:, |$)",
        is_echo=True,
    ),
    _kind("moved", r" from about .* on, .* before\.?$"),
    _kind(
        "moved",
        r"(?:higher|lower|better|worse) (?:from|since) about |moved by more than its usual scatter|[Mm]oved by more than its",
        is_echo=True,
    ),
    _kind("moved", r"^(?:higher|lower)(?:, |$)|^(?:not over yet, )*since it moved", is_echo=True),
    _kind("period", rf"{_NUMBER} points? (?:more|fewer|less) than in "),
    _kind("period", r" was (?:better|worse) in ", is_echo=True),
    _kind("studios", rf"(?:better|worse) at [^,]+, {_NUMBER} points? (?:more|fewer|less) than at "),
    _kind("period", r" (?:higher|lower)$", is_echo=True),
    # Returns.
    _kind("groups return", r"Riders come back at different rates"),
    _kind("lasting", rf"changed by {_NUMBER}\S*(?: mm)? {_ENDS}[^)]*\) on average from the fit", _leaves_out_zero),
    # Fitters.
    _kind("fitter", r"(?:above|below) the [\d.]+ % limits"),
    _kind(
        "fitter",
        r": [^:;]+ beyond the [\d.]+\W% limits, to look at together|beyond the [\d.]+ % limits: \w|"
        r"F\d+\)? on [a-z ]+ \((?:above|below)\)",
        is_echo=True,
    ),
    _kind("fitters scatter", r"fitters scatter more than chance alone"),
    _kind("captures scatter", r"captures scatter more in \w+ than the others'"),
    _kind("captures scatter", r"^Captures that scatter more: ", is_echo=True),
    # Symmetry.
    _kind("side difference changed", rf"from {_NUMBER} % to {_NUMBER} %, (?:fewer|more) \("),
    _kind("side difference changed", r"points? (?:fewer|more) \(", is_echo=True),
    _kind("side difference changed", r"^(?:fewer|more)$", is_echo=True),
    _kind("level against the others", r"points? (?:more|fewer) than the other riders"),
    _kind("level against the others", rf"points? against the other riders {_ENDS}", _leaves_out_zero),
    _kind("one side leads", rf"right less left is {_NUMBER}\S*(?: mm)? on average {_ENDS}", _leaves_out_zero),
    # Ratings.
    _kind("rating changed", rf"points of 10 on average {_ENDS}", _leaves_out_zero),
    # Agreement.
    _kind("agreement goes with", rf"(?:less|more) than flagged ones that began alike {_ENDS}"),
    _kind("shim place", rf"After one more varus shim .* changed by .* on average {_ENDS}", _leaves_out_zero),
    _kind("shim place", rf"(?:lower|higher) at the cleat than in the shoe {_ENDS}"),
    # Checks of the effects.
    _kind("late", r"[Aa]bout [\d.]+ % .*comes one capture late"),
    _kind(
        "not the same", r"[Ii]t is not the same (?:everywhere|at every step)|, a difference of [+-]?\d|drifts otherwise by arch"
    ),
    # The rig.
    _kind(
        "rig", r"^(?:[A-Z] \d.*: )?(?:Arrivals|Right knees) at \S+ \w+ [\d.]+|Left and right (?:are exchanged|change places) at"
    ),
    _kind("rig", r"lie [\d.]+ times (?:further apart|nearer together)"),
    _kind("rig", r"measures \w+ otherwise", is_echo=True),
    _kind("rig", r"arrivals (?:stand|sway) [\d.]+|[Cc]aptures lie [\d.]+ times|right knees stand [\d.]+", is_echo=True),
)
# What takes a claim back, wherever in the sentence it stands.
HEDGES: Final = re.compile(
    r"no clear (?:change|difference)|not enough yet|no bend in the line seen|no signal\b|within its usual scatter|"
    r"^None of |no more than by chance|none lies beyond|no figure yet|no figure, since|No clear difference|"
    r"no support clearly differs|does not differ clearly|neither side clearly|no more than chance may bring|"
    r"part of it the noise that led to it|chance alone often brings one like it|no (?:change|difference) told|"
    r"not found to |^No fitter's captures were found to |Too few repeats to say|No rig is seen to have moved|"
    r"nothing is claimed",
    re.IGNORECASE,
)
# A sentence with one of these words says which way, how much more, or that something differs.
DIRECTION: Final = re.compile(
    r"\b(?:higher|lower|more|less|fewer|better|worse|nearer|further|differs?|different|differences?|mov(?:ed|es|ing)|beyond|above|below|"
    r"rais(?:es|ed)|lowers|lowered|rose|rises|rising|fell|falls|falling|outward|inward|clear(?:ly)?|disagree|agree|signals?|outside|"
    r"apart|uneven|improved|improves|improving|drifts?|drifted|grew|gained|lost|larger|smaller|bends?|away|adds|takes|brings|took|"
    r"worst|best|scatter|resolved|steadier|stronger|weaker|longer|shorter|wider|narrower|widened|increased|decreased|increase|decrease)\b",
    re.IGNORECASE,
)


def claims_of(said: Iterable[Said]) -> Iterator[Claim]:
    """Every claim in the pieces, one for each sentence that claims."""
    for piece in said:
        if piece.kind != "text":
            yield Claim(piece.place, piece.kind, piece.text, piece.is_answer, is_echo=True)
            continue
        for sentence in sentences(piece.text):
            kind = kind_of(sentence)
            if kind is not None:
                yield Claim(piece.place, kind.name, sentence, piece.is_answer, kind.is_echo)


def kind_of(sentence: str) -> _Kind | None:
    """The kind of claim that a sentence makes; None where it claims nothing."""
    if HEDGES.search(sentence):
        return None
    return next((kind for kind in CLAIMS if (found := kind.pattern.search(sentence)) and kind.holds(found)), None)


def unknown_in(said: Iterable[Said]) -> list[str]:
    """Sentences with a word of direction of which it is not known whether they claim anything; each shape once."""
    found: dict[str, str] = {}
    for piece in said:
        for sentence in sentences(piece.text) if piece.kind == "text" else ():
            shape = shape_of(sentence)
            if shape not in found and DIRECTION.search(sentence) and not is_known(sentence):
                found[shape] = sentence
    return list(found.values())


def is_known(sentence: str) -> bool:
    """Whether a sentence is hedged, a claim, or known to claim nothing."""
    if HEDGES.search(sentence) or any(kind.pattern.search(sentence) for kind in CLAIMS):
        return True
    return is_silent(sentence) or sentence.strip(" .") in _told_of_methods() or bool(_passages().fullmatch(sentence))


# The fold under a chart repeats what the chart is of for readers aloud, and no finding.
_FOLD: Final = re.compile(r"^(?:Numbers and pictures|Pictures) ?: ")
_SENTENCE_ENDS: Final = re.compile(r"(?<=[.!?]) (?=[A-Z\"])")


def sentences(text: str) -> list[str]:
    return [] if _FOLD.match(plain(text)) else _SENTENCE_ENDS.split(plain(text))


_SHAPED: Final = (
    (re.compile(r"\b\d{1,2} (?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)[a-z]* \d{4}\b"), "DATE"),
    (re.compile(r"\b(?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)[a-z]* \d{4}\b"), "MONTH"),
    (re.compile(r"\b[RSFB]\d+\b"), "ID"),
    (re.compile(_NUMBER), "#"),
)


def shape_of(sentence: str) -> str:
    """The sentence without its numbers, dates and ids."""
    for pattern, name in _SHAPED:
        sentence = pattern.sub(name, sentence)
    return sentence


@cache
def _passages() -> re.Pattern[str]:
    """Every sentence of the pages' text.md, whatever is filled in: they tell how a figure is read, and no figure."""
    kept = []
    for path in Path(dashboard.__file__).parent.glob("pages/*/text.md"):
        for passage in read_text(path).values():
            kept += [sentence for text in passage for sentence in sentences(text)]
    patterns = [re.sub(r"\\\{\w+\\\}", ".+?", re.escape(sentence)) for sentence in kept]
    return re.compile("|".join(patterns))


@cache
def _told_of_methods() -> frozenset[str]:
    """What the questions tell of their methods and cautions, sentence by sentence."""
    told: list[str] = []
    for found in walk_packages(dashboard.questions.__path__, "dashboard.questions."):
        module = import_module(found.name)
        for name, holder in vars(module).items():
            if name == "METHOD" or name.endswith(("CAUTION", "CAUTIONS")):
                told += _texts(holder)
    return frozenset(sentence.strip(" .") for text in told for sentence in (plain(text), *sentences(text)))


def _texts(holder: Any) -> Iterator[str]:
    if isinstance(holder, str):
        yield holder
    elif isinstance(holder, dict):
        for value in holder.values():
            yield from _texts(value)
    elif isinstance(holder, tuple | list):
        for value in holder:
            yield from _texts(value)
