"""Where a text names an id: in any case, any Unicode form, at any boundary. Forgetting and its proof both search by this.

Texts are compared as Unicode's compatibility decomposition of the folded case (NFKD, casefold; Unicode Standard, 3.13), without
signs that show nothing. What stands by itself is clear. Where letters or digits go on, or where a longer id of somebody else
stands there, the text alone does not tell: it is unclear, and somebody has to say.
"""

import json
import re
import unicodedata
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import Final
from urllib.parse import quote

FORGOTTEN: Final = "[forgotten]"
# As many hexadecimal digits as no id has, and every digest: chance spells any short id in them.
_DIGEST: Final = re.compile(r"[0-9a-f]{16,}")
# In JSON a line break is a letter after a stroke, which is no part of the word behind it.
_ESCAPE: Final = re.compile(r"\\(?:[nrtbf]|u[0-9a-f]{4})$")
_LONGEST_ESCAPE: Final = 6


@dataclass(frozen=True)
class Find:
    """One place in a text, from `start` to `end`, and the whole `word` there: the id, or the longer word that holds it.

    `is_others`: that word is an id of somebody else.
    """

    start: int
    end: int
    word: str
    is_clear: bool
    is_others: bool = False


class Speller:
    """Finds some ids in texts. `others` are the ids of everybody else that hold one of them."""

    def __init__(self, ids: Iterable[str], others: Iterable[str] = ()) -> None:
        self._ids = tuple(dict.fromkeys(ids))
        # The longest first: an id that lies within another of the same rider is that one.
        forms = {form for word in self._ids for form in _forms(word)}
        self.needles = tuple(sorted(forms, key=lambda form: (-len(form), form)))
        self._pattern = re.compile("|".join(map(re.escape, self.needles))) if self.needles else None
        self._whole = set(map(folded, self._ids))
        self._plain = {word for word in map(folded, self._ids) if not is_telling(word)}
        self._others_alike: set[str] = set()
        self._longer: dict[str, set[tuple[int, str]]] = {}
        for other in others:
            self._add_other(other)

    def _add_other(self, other: str) -> None:
        whole = folded(other)
        if whole in self.needles:
            self._others_alike.add(other)
            return
        for needle in self.needles:
            for match in re.finditer(f"(?={re.escape(needle)})", whole):
                self._longer.setdefault(needle, set()).add((match.start(), whole))

    def finds(self, text: str, *, is_prose: bool = True) -> list[Find]:
        """Every place, in order. Ids that are as short as a plain number are sought in prose alone, where they stand by
        themselves, and are never clear."""
        if self._pattern is None:
            return []
        if text.isascii():
            whole, places = text.lower(), None
        else:
            whole, places = _with_places(text)
        if not self._pattern.search(whole):
            return []
        done = 0
        finds: list[Find] = []
        skipped = [match.span() for match in re.finditer(re.escape(FORGOTTEN), whole)]
        for match in _all(self._pattern, whole):
            start, end = match.span()
            if any(first <= start and end <= last for first, last in skipped):
                continue
            find = self._judged(text, whole, places, (start, end), is_prose)
            if find and find.start >= done:
                finds.append(find)
                done = find.end
        return finds

    def _judged(
        self, text: str, whole: str, places: list[tuple[int, int]] | None, span: tuple[int, int], is_prose: bool
    ) -> Find | None:
        needle, (start, end) = whole[slice(*span)], span
        is_plain = needle in self._plain
        if is_plain and not is_prose:
            return None
        for offset, other in self._longer.get(needle, ()):
            first = start - offset
            if first >= 0 and whole.startswith(other, first) and _stands_alone(whole, first, first + len(other)):
                return None if is_plain else _find(text, places, first, first + len(other), is_clear=False, is_others=True)
        if _stands_alone(whole, start, end):
            find = _find(text, places, start, end, is_clear=not is_plain)
            if find.word in self._others_alike and find.word not in self._ids:
                return Find(find.start, find.end, find.word, is_clear=False, is_others=True)
            return find
        if is_plain:
            return None
        while start > 0 and _goes_on(whole[start - 1]) and not _is_escaped(whole, start):
            start -= 1
        while end < len(whole) and _goes_on(whole[end]):
            end += 1
        return None if _DIGEST.fullmatch(whole, start, end) else _find(text, places, start, end, is_clear=False)

    def is_one(self, word: str) -> bool:
        """Whether a word that is surely an id is one of the ids, in any case and form; also one as short as a plain number."""
        return folded(word) in self._whole and (word in self._ids or word not in self._others_alike)

    def names(self, text: str) -> bool:
        """Whether the text clearly names one of the ids."""
        return any(find.is_clear for find in self.finds(text))

    def holds(self, text: str) -> bool:
        """Whether one of the ids stands in the text by itself, also one that is as short as a plain number."""
        return any(find.is_clear or (not find.is_others and folded(find.word) in self._plain) for find in self.finds(text))

    @property
    def sql_pattern(self) -> str:
        """A regular expression (RE2) that finds, in ASCII text in lower case, every text that may name one of the ids."""
        telling = [re.escape(needle) for needle in self.needles if needle not in self._plain]
        plain = "|".join(re.escape(needle) for needle in self.needles if needle in self._plain)
        parts = [*telling, *([rf"(?:^|[^a-z0-9])(?:{plain})(?:$|[^a-z0-9])"] if plain else [])]
        return "|".join(parts) or "$."

    def without(self, text: str, takes: Callable[[Find], bool], *, is_prose: bool = True) -> str:
        """The text with a mark in the place of everything that is clear, and of what else `takes` says."""
        parts, done = [], 0
        for find in self.finds(text, is_prose=is_prose):
            if find.start >= done and (find.is_clear or takes(find)):
                parts += [text[done : find.start], FORGOTTEN]
                done = find.end
        return "".join([*parts, text[done:]])


def takes_words(words: Collection[str]) -> Callable[[Find], bool]:
    """Takes what is unclear where its word is one of these, in any case and form."""
    wanted = set(map(folded, words))
    return lambda find: folded(find.word) in wanted


def is_telling(word: str) -> bool:
    """Whether an id can hardly stand in a text as something else: two characters with a letter, or six digits."""
    return len(word) >= 6 or (len(word) >= 2 and any(character.isalpha() for character in word))


def folded(text: str) -> str:
    """The form in which texts are compared."""
    return text.lower() if text.isascii() else _with_places(text)[0]


def _with_places(text: str) -> tuple[str, list[tuple[int, int]]]:
    """The folded text, and for each of its characters the place in the text that it comes from."""
    parts: list[str] = []
    places: list[tuple[int, int]] = []
    start = 0
    while start < len(text):
        end = start + 1
        while end < len(text) and unicodedata.combining(text[end]):  # marks stay with their letter
            end += 1
        visible = "".join(sign for sign in text[start:end] if unicodedata.category(sign) != "Cf")
        part = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", visible).casefold())
        parts.append(part)
        places += [(start, end)] * len(part)
        start = end
    return "".join(parts), places


def _forms(word: str) -> set[str]:
    """An id as it may be written: by itself, in JSON, in a quoted cell of CSV, in an address."""
    written = (word, json.dumps(word)[1:-1], json.dumps(word, ensure_ascii=False)[1:-1], word.replace('"', '""'), quote(word))
    return {form for form in map(folded, written) if form}


def _all(pattern: re.Pattern[str], whole: str) -> Iterator[re.Match[str]]:
    """Matches from every place, also within one another: the longest of each place."""
    at = 0
    while match := pattern.search(whole, at):
        yield match
        at = match.start() + 1


def _find(
    text: str, places: list[tuple[int, int]] | None, start: int, end: int, *, is_clear: bool, is_others: bool = False
) -> Find:
    first, last = (start, end) if places is None else (places[start][0], places[end - 1][1])
    return Find(first, last, text[first:last], is_clear, is_others)


def _stands_alone(whole: str, start: int, end: int) -> bool:
    before = start > 0 and _goes_on(whole[start]) and _goes_on(whole[start - 1]) and not _is_escaped(whole, start)
    after = end < len(whole) and (_goes_on(whole[end]) and (_goes_on(whole[end - 1]) or _is_mark(whole[end])))
    return not before and not after


def _is_escaped(whole: str, start: int) -> bool:
    return _ESCAPE.search(whole, max(0, start - _LONGEST_ESCAPE), start) is not None


def _goes_on(sign: str) -> bool:
    """Whether a sign may be part of the same word: a letter, a digit, or a mark on one."""
    return sign.isalnum() or _is_mark(sign)


def _is_mark(sign: str) -> bool:
    return unicodedata.category(sign).startswith("M")
