"""An id is found in every case, Unicode form and boundary; a longer word, or an id of somebody else, is shown."""

import json
import unicodedata
from urllib.parse import quote

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from etl.keeping.spelling import FORGOTTEN, Speller, folded, takes_words

ALPHABET = st.characters(categories=("Lu", "Ll", "Lo", "Nd", "Pd", "Po", "Sc", "Zs"))
# What stands around a word and is no part of one.
EDGES = st.text(st.sampled_from(" .,;:-_/\\()[]{}'\"!?#@+=&|~<>\n\t’“—·€"), max_size=3)


def plain(text: str) -> str:
    """An oracle of its own, on whole texts: the decomposition of the folded case, without signs that show nothing."""
    shown = "".join(sign for sign in text if unicodedata.category(sign) != "Cf")
    return unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", shown).casefold())


@st.composite
def spellings(draw: st.DrawFn) -> tuple[str, str]:
    """An id, and another way to write it: each letter's case by chance, one Unicode form, signs between that show nothing."""
    word = draw(st.text(ALPHABET, min_size=4, max_size=12).filter(lambda text: text[0].isalpha() and text[-1].isalnum()))
    cased = "".join(draw(st.sampled_from((sign, sign.upper(), sign.lower()))) for sign in word)
    written = unicodedata.normalize(draw(st.sampled_from(("NFC", "NFD", "NFKC", "NFKD"))), cased)
    if draw(st.booleans()):
        wide = str.maketrans({chr(n): chr(n + 0xFEE0) for n in range(0x30, 0x7B) if chr(n).isalnum()})
        written = written.translate(wide)
    at = draw(st.integers(1, len(written)))
    # A mark belongs to the letter before it: nothing may come between.
    if at < len(written) and not unicodedata.combining(written[at]):
        written = written[:at] + draw(st.sampled_from(("", "\u00ad", "\u200b", "\ufeff"))) + written[at:]
    return word, written


@settings(max_examples=300, deadline=None, derandomize=True)
@given(spellings(), EDGES, EDGES)
def test_every_spelling_at_any_boundary_is_clear_and_is_taken_out(both: tuple[str, str], before: str, after: str) -> None:
    word, written = both
    if folded(written) != folded(word):  # a letter whose upper case is another letter's too
        return
    text = before + written + after
    speller = Speller([word])
    assert speller.names(text), (word, text)
    left = speller.without(text, lambda _: False)
    assert FORGOTTEN in left and not speller.finds(left)
    assert plain(word) not in plain(left.replace(FORGOTTEN, " "))


@settings(max_examples=200, deadline=None, derandomize=True)
@given(spellings(), st.text(st.characters(categories=("Lu", "Ll", "Nd")), min_size=1, max_size=3), st.booleans(), EDGES)
def test_where_letters_or_digits_go_on_it_is_shown_and_taken_only_when_asked(
    both: tuple[str, str], more: str, is_before: bool, edge: str
) -> None:
    word, _ = both
    longer = more + word if is_before else word + more
    text = f"{edge} {longer} {edge}"
    finds = Speller([word]).finds(text)
    assert finds and (plain(word) not in plain(longer).replace(plain(word), "", 1))
    if any(find.is_clear for find in finds):  # the longer word happens to end in the id once more, or begins with a boundary
        return
    left = Speller([word]).without(text, lambda _: False)
    assert left == text
    taken = Speller([word]).without(text, takes_words([find.word for find in finds]))
    assert not Speller([word]).finds(taken)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.text(st.sampled_from('R01rüÜ\u0308x-_ [.\\n"ß'), max_size=24))
def test_nothing_that_the_text_spells_is_passed_over(text: str) -> None:
    for word in ("R01", "r0", "Rü1", "ss"):
        found = bool(Speller([word]).finds(text))
        assert found == (plain(word) in plain(text)), (word, text)


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("see-RVICTIM77", "see-[forgotten]"),
        ("rider_RVICTIM77", "rider_[forgotten]"),
        ("RVICTIM77_scan", "[forgotten]_scan"),
        ("rvictim77", "[forgotten]"),
        ("riders-RVICTIM77.csv", "riders-[forgotten].csv"),
        ("RVICTIM77RVICTIM77", "RVICTIM77RVICTIM77"),
        (json.dumps({"notes": "first line\nRVICTIM77"}), '{"notes": "first line\\n[forgotten]"}'),
        ("\uff32\uff36\uff29\uff23\uff34\uff29\uff2d\uff17\uff17", "[forgotten]"),
        ("a [forgotten] note", "a [forgotten] note"),
        ("5dRVICTIM77", "5dRVICTIM77"),
    ],
)
def test_what_is_left_of_a_text(text: str, left: str) -> None:
    assert Speller(["RVICTIM77"]).without(text, lambda _: False) == left


def test_an_id_of_somebody_else_is_told_apart_and_shown() -> None:
    speller = Speller(["R0001", "R1"], ["R00010", "R1-2", "r0001"])
    told = {(find.word, find.is_clear, find.is_others) for find in speller.finds("R0001, R00010 R1-2 R1-3 r0001 r00010")}
    assert told == {
        ("R0001", True, False),
        ("R00010", False, True),
        ("R1-2", False, True),
        ("R1", True, False),
        ("r0001", False, True),
        ("r00010", False, True),
    }


@pytest.mark.parametrize("word", ['a"b;c--', "Zoë–7", "O'Hare $1", "[x]\\d"])
def test_an_id_is_found_as_json_csv_and_addresses_write_it(word: str) -> None:
    for text in (json.dumps([word]), json.dumps([word], ensure_ascii=False), '"' + word.replace('"', '""') + '"', quote(word)):
        assert Speller([word]).names(text), text


def test_a_plain_number_is_shown_in_prose_and_never_taken_for_the_rider() -> None:
    speller = Speller(["12"])
    assert [find.word for find in speller.finds("rider 12, shim 112, 12.5")] == ["12", "12"]
    assert not speller.names("rider 12") and speller.holds("12,1980,left") and not speller.finds("rider 12", is_prose=False)


def test_digests_are_no_words() -> None:
    assert Speller(["ab12"]).finds("0123456789ab12ef0123456789ab12ef") == []


def test_a_replacement_is_not_read_again() -> None:
    for word in ("forgotten", "ten", "[forgotten]"):
        assert Speller([word]).finds(Speller([word]).without(f"x {word} y", lambda _: False)) == []
