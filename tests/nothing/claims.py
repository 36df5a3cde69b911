"""Finds claims in what a studio is told: words of direction, words of difference, intervals on one side of zero, bold, marks.

A claim is looked for in three steps. What hedges itself ("no clear change", "not enough yet") claims nothing. What one of
CLAIMS fits is a claim of that kind. What is left and still holds a word of direction must be known to claim nothing (SILENT,
the passages of the pages' text.md, what the questions tell of their methods); otherwise it is told as unknown, and a test
fails: a new sentence is put here, on one side or the other, by whoever writes it.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any, Final

import dashboard
from dashboard.components.text import read_text
from dashboard.questions.asking import QUESTIONS
from tests.nothing.collecting import Said, plain

_NUMBER: Final = r"[+-]?\d[\d,]*(?:\.\d+)?"
_SUPPORT: Final = (
    r"(?:A (?:low|medium|high|custom) insole|(?:Low|Medium|High|Custom) insole|One more varus shim|One mm of outward stance)"
)
# The interval of a difference, as it stands in brackets: "(-0.1 to 0.4", also with a sign of the unit behind the first end.
_ENDS: Final = rf"\((?P<low>{_NUMBER})(?: ?[a-z%°]+)? to (?P<high>{_NUMBER})"
# What a share of knees may show by noise alone: half of what is left out by the smallest real change of one knee.
_BY_CHANCE_PERCENT: Final = 2.5


@dataclass(frozen=True)
class Claim:
    """One claim: where it stands, its kind, whose sentence it is told in. `is_echo`: it repeats what a sentence tells in full."""

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


def _is_rare(found: re.Match[str]) -> bool:
    return "less than" in found["chance"] or _value(found["chance"].split()[1]) < 5


def _kind(name: str, pattern: str, holds: Callable[[re.Match[str]], bool] = lambda _: True, *, is_echo: bool = False) -> _Kind:
    return _Kind(name, re.compile(pattern), holds, is_echo)


CLAIMS: Final = (
    # Supports.
    _kind(
        "effect",
        rf"{_SUPPORT} (?:raises the tilt|lowers the tilt|adds sway|takes sway away|moves the knee (?:in|out)ward|"
        r"brings the knee nearer|takes the knee further)",
    ),
    _kind("effect", r": a clear change for (?:all )?\d+", is_echo=True),
    _kind("levels differ", rf"{_SUPPORT} differs between levels"),
    _kind("levels differ", r"by [a-z ]+: a difference for ", is_echo=True),
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
    _kind("moved", r"^(?:outside limits|a run on one side|rising or falling steadily)(?:, |$)", is_echo=True),
    _kind("period", rf"points? against the (?:same )?period (?:before|a year before), (?:higher|lower) {_ENDS}"),
    _kind("period", r" (?:higher|lower)$", is_echo=True),
    # Returns.
    _kind("groups return", r"Riders come back at different rates"),
    _kind("lasting", rf"changed by {_NUMBER}\S*(?: mm)? {_ENDS}[^)]*\) on average from the fit", _leaves_out_zero),
    # Fitters.
    _kind("fitter", r"(?:above|below) the \d[\d.]* % limits"),
    _kind(
        "fitter",
        r"F\d(?: and F\d|, F\d)* beyond the|beyond the [\d.]+ % limits: F\d|; F\d+ on [a-z ]+ \((?:above|below)\)",
        is_echo=True,
    ),
    _kind("fitters scatter", r"fitters scatter more than chance alone"),
    # Symmetry.
    _kind("side difference changed", rf"from {_NUMBER} % to {_NUMBER} %, (?:fewer|more) \("),
    _kind("side difference changed", r"points? (?:fewer|more) \(", is_echo=True),
    _kind(
        "side difference changed",
        r"a split at least as uneven would come up (?P<chance>less than once in 1,000 times|in [\d.]+ % of cases)",
        _is_rare,
        is_echo=True,
    ),
    _kind("level against the others", rf"points? against the other riders {_ENDS}", _leaves_out_zero),
    _kind("one side leads", rf"right less left is {_NUMBER}\S*(?: mm)? on average {_ENDS}", _leaves_out_zero),
    # Ratings.
    _kind("rating changed", rf"points of 10 on average {_ENDS}", _leaves_out_zero),
    # Agreement.
    _kind("agreement goes with", rf"(?:less|more) than flagged ones that began alike {_ENDS}"),
    _kind("shim place", rf"After one more varus shim .* changed by .* on average {_ENDS}", _leaves_out_zero),
    _kind("shim place", rf"(?:lower|higher) at the cleat than in the shoe {_ENDS}"),
    # The rig.
    _kind("rig", r"stand[s]? [\d.]+(?:°| mm) (?:further|less far) (?:out|in)"),
)
# What takes a claim back, wherever in the sentence it stands.
HEDGES: Final = re.compile(
    r"no clear (?:change|difference)|not enough yet|no bend in the line seen|no signal\b|within its usual scatter|"
    r"^None of |no more than by chance|none lies beyond|no figure yet|no figure, since|No clear difference|"
    r"no support clearly differs|does not differ clearly|neither side clearly",
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
            yield Claim(piece.place, piece.kind, piece.text, piece.is_answer, is_echo=piece.kind == "mark")
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
    return bool(SILENT.search(sentence)) or sentence.strip(" .") in _told_of_methods() or bool(_passages().fullmatch(sentence))


_SENTENCE_ENDS: Final = re.compile(r"(?<=[.!?]) (?=[A-Z\"])")


def sentences(text: str) -> list[str]:
    return _SENTENCE_ENDS.split(plain(text))


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
    patterns = [re.sub(r"\\\{\w+\\\}", ".+?", re.escape(sentence)) for sentence in kept if not _is_claimed_by_numbers(sentence)]
    return re.compile("|".join(patterns))


def _is_claimed_by_numbers(sentence: str) -> bool:
    """A passage whose filled-in numbers claim."""
    return "{chance}" in sentence


@cache
def _told_of_methods() -> frozenset[str]:
    """What the questions tell of their methods and cautions, sentence by sentence."""
    told: list[str] = []
    for name in QUESTIONS:
        module = import_module(f"dashboard.questions.{name}")
        for holder in (getattr(module, "METHOD", {}), getattr(module, "CAUTIONS", ())):
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


# Sentences, headings and names with a word of direction that claim nothing: what is counted, how it is read, what is asked.
SILENT: Final = re.compile(
    "|".join(
        f"(?:{pattern})"
        for pattern in (
            # A share, a mean or a size, and of what; no comparison.
            r"of fits agree with the exam \(",
            r"side difference in \w+ of (?:more than )?[\d.]+(?:°| mm)(?: or more)?(?: \(|: \d)",
            r"^Of [\d,]+ riders measured, ",
            r"^(?:Follow-up overdue .*)?[\d.]+(?:°| mm) between the knees remain, the (?:left|right) one further out$|"
            r"^[\d.]+(?:°| mm) between the knees remain, the (?:left|right) one further out\.$",
            r"^A knee's \w+ differs from itself by a typical error of ",
            r"^With nothing changed, .* seem resolved by noise alone",
            r"of feet (?:have a|show|collapse|are of the type) ",
            r"^a side difference in \w+ in [\d,]+ of [\d,]+ riders at arrival",
            r"^At (?:arrival|departure): [\d,]+ of [\d,]+ riders? beyond the limit$",
            r"^[\d,]+ (?:lie|lies) beyond the limit of .* in [\d,]+ the right knee is further out, in [\d,]+ the left one",
            r"^[\d,]+ resolved, [\d,]+ new, of ",
            r"^Resolved \(at arrival only\): ",
            r"^Of [\d,]+ riders? recorded at both ends, .* was resolved in ",
            r"^All fits: [\d,]+ fits? at the start, ",
            r"^All riders: (?:[\d.]+ %, interval|not enough yet)",
            rf"^(?:Low insole|{_SUPPORT}): [+-]\d",
            r"(?:tilt|sway|offset) at (?:arrival|departure): the sides differ by .* in the middle fit",
            r"^Share of riders with a side difference in \w+ by limit: ",
            r"left about as far from neutral as they came",
            # Whom a figure hangs on, whether two ways of looking agree: what is uncertain, and no direction.
            r"^One rider decides the direction of \d+ estimates?: ",
            r"^No estimate would change its direction",
            r"^The two estimates (?:agree|disagree) in |^The two estimates differ by more than their noise",
            # A row that deserves a look, and the rules that ask for one.
            r"is far outside this studio's own spread",
            r"^(?:rule )?(?:[Ww]ider for outward knees|[Nn]arrower by the cleat|[Nn]o insole pushes|[Nn]o shim pushes|insole not away|shims not away)",
            r"(?:^|, )(?:left|right) foot: |(?:Flag|Note), (?:left|right) foot: |which leans it further (?:in|out)ward|knee (?:goes|at) ",
            # Fitters and charts within their limits, or without any.
            r": all \d+ fitters within the |: F\d within the |: no fitter can be compared yet$|: no limits yet$",
            r"^F\d: .* expected of these riders .*; within the ",
            r"no figure moved by more than the usual scatter",
            r"^Phi of this selection: |^intercept; ",
            r"^Of \d+ fitters? compared with what is expected of their riders, none lies beyond",
            # The drawings in words, their axes and their keys.
            r"^Control chart of |^Dot-and-interval chart of |^Funnel of |^Bars of |^Scatter of ",
            r"^[◆▲■●○∘] ",
            r"^(?:not over yet, |base, )*(?:in the |)base$",
            # Headings, names of figures and columns, questions.
            r"^Does a support do more for one ",
            r"^(?:Riders with a |)[Ss]ide differences? (?:in \w+(?:,| at both ends,)? by |in \w+$|left|remains|limit|of all|$)",
            r"^(?:Knees better|Knees nearer to neutral|Comfort gained|Fits with a side difference left|Side differences left)"
            r"(?: at departure| \(shown\)|, by fitter|, unchanged and worse at departure|)$",
            r"^Left out most often: ",
            r"^(?:\d+° and above|[Bb]elow \d+°|Hip flexion (?:below|\d+°)[^:]*|Feet differ|Low arch[^:]*)$",
            r"^(?:Agree|agree|Better|better|Worse|worse|Beyond|Resolved|Signal|Difference|differ|difference|differences|Inward|inward|"
            r"Outward|outward|Below it after|Beyond at (?:arrival|departure)|Beyond the limit before|Beyond the noise|Difference, points|"
            r"beyond the noise, its interval|One more shim|The larger|The signals|Where they disagree|[Oo]utside the limits|"
            r"Right less left|Left knee further out, beyond the limit|Right knee further out, beyond the limit|One in ten, or more|"
            r"If all not seen were lost, or held|How large the differences are|How many knees moved by more than the noise|"
            r"Nearer to neutral, by where the knee stood at arrival|The share beyond other limits|What stood beside each signal|"
            r"what the signals below are held against|offset difference limit|side difference limit|further riders →|knees better|"
            r"comfort gained|Knees lost and new)$",
            r" and \d+ more$",
            r"^A difference is called clear when its interval leaves out zero",
        )
    )
)
