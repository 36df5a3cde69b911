"""What a letter says, by role and in all its parts; no header and no page can be written through it."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from dashboard.cli import app
from dashboard.letters.content import LONGEST_NOTE, Letter, Line, letter_to, one_line
from dashboard.letters.due import last_scheduled
from dashboard.letters.written import LARGEST_BYTES, Envelope, message_of, text_of
from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import Selection
from shared.errors import UsageError
from shared.logbook.letters import Signal
from shared.settings import Goals, Note, Settings, load_settings
from shared.settings_letters import LETTER_ROLES
from shared.warehouse import open_reading
from tests.unit.made_letters import made_letter

BASE = "https://fits.example.org/studio/"
ENVELOPE = Envelope(
    sender="fitledger@example.org",
    to="olga@example.org",
    why="It goes to the owner.",
    stop=f"{BASE}letters/stop?token=MQ.{'x' * 60}",
    key="owner olga@example.org schedule 2026-08-01",
    at=datetime(2026, 8, 31, 7, tzinfo=UTC),
)


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings(), lambda: date(2026, 8, 31))


@pytest.fixture(scope="module")
def owners(asker: Asker) -> Letter:
    return letter_to("owner", asker, BASE)


def received(message: EmailMessage) -> EmailMessage:
    """The letter as it comes out of a mail program."""
    read = message_from_bytes(message.as_bytes(), policy=policy.default)
    assert isinstance(read, EmailMessage)
    return read


def part_of(message: EmailMessage, kind: str) -> str:
    body = message.get_body((kind,))
    assert isinstance(body, EmailMessage)
    return str(body.get_content())


def words_of(html: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", html.partition("<body")[2].partition(">")[2])))


def plain(words: str) -> str:
    return re.sub(r"\s+", " ", words)


def test_the_owners_letter_says_what_studios_answer_says(asker: Asker, owners: Letter) -> None:
    answer: Any = asker.ask("periods", Selection())
    calls: Any = asker.ask("calls", Selection())
    assert owners.headline == answer.headline
    assert owners.todo[0].words == f"{len(calls.calls)} calls due today"
    assert owners.todo[0].href == f"{BASE}returns/calls"
    told = [line.words for line in (*owners.better, *owners.worse, *owners.unclear)]
    before = [row for row in answer.changes if row.against == "before"]
    assert all(any(words.startswith(row.words) for words in told) for row in before)
    # The demo's July, counted in its exports: 18 % of 49 fits.
    assert "It is 18\u202f% now (10 to 32\u202f%)." in " ".join(told)
    assert [picture.title for picture in owners.pictures] == [
        "Beside June: no clear change in any figure",
        "Fits seen again in time: nothing new (better since about June 2025)",
    ]


def test_nothing_is_called_better_or_worse_that_may_not_be_claimed(owners: Letter) -> None:
    assert (owners.better, owners.worse) == ((), ())
    text = text_of(owners)
    assert "WHAT IS BETTER\nNothing clearly." in text and "WHAT IS WORSE\nNothing clearly." in text


def test_the_desk_is_told_of_calls_and_of_no_measure(asker: Asker) -> None:
    letter = letter_to("desk", asker, BASE)
    words = plain(text_of(letter))
    assert "19 calls today, 31 Aug 2026: 9 with a follow-up over" in words
    assert not re.search(r"[Kk]nee|[Cc]omfort|tilt|side difference|rows left out|to look at", words)
    assert [line.href for line in letter.todo] == [f"{BASE}returns/calls"]


def test_the_head_fitter_is_told_of_fits_to_look_at_and_agreement(asker: Asker) -> None:
    letter = letter_to("head_fitter", asker, BASE)
    assert "28\xa0% of fits agree with the exam (16 to 43\xa0%; 47 fits that can be judged)." in letter.headline
    assert letter.todo[0].words == "4 fits of these dates to look at with the fitter"
    assert not any("calls" in line.words for line in letter.todo)


@pytest.mark.parametrize("role", LETTER_ROLES)
def test_no_letter_names_a_rider_or_a_fit(asker: Asker, demo_warehouse: Path, role: Any) -> None:
    opened = open_reading(demo_warehouse)
    ids = {
        row["id"]
        for row in opened.rows("SELECT rider_id AS id FROM core.riders UNION SELECT session_id FROM core.fit_sessions")
    }
    opened.close()
    letter = letter_to(role, asker, BASE)
    message = received(message_of(letter, [], ENVELOPE))
    words = set(re.findall(r"[A-Za-z0-9]+", part_of(message, "plain") + part_of(message, "html") + str(message["Subject"])))
    assert len(ids) > 2000 and not words & ids


def test_both_parts_say_the_same(owners: Letter) -> None:
    message = received(message_of(owners, [], ENVELOPE))
    text, html = plain(part_of(message, "plain")), words_of(part_of(message, "html"))
    for line in (owners.headline, *(one.words for part in owners.parts for one in part.lines), *owners.cautions):
        flat = plain(line.replace("\u202f", " ").replace("\xa0", " "))
        assert flat in text.replace(" - ", " ") and flat in plain(html)


def test_no_line_of_the_text_is_wider_than_72_but_an_address(owners: Letter) -> None:
    long = replace(owners, title=f"{owners.title} and more " * 3)
    for letter in (owners, long):
        wide = [line for line in text_of(letter).splitlines() if len(line) > 72 and "://" not in line]
        assert wide == []


def test_pictures_come_inline_with_what_they_show_in_words(owners: Letter) -> None:
    drawn = [b"\x89PNG one", b"\x89PNG two"]
    message = received(message_of(owners, drawn, ENVELOPE))
    pictures = {part["Content-ID"].strip("<>"): part for part in message.walk() if part.get_content_type() == "image/png"}
    html = part_of(message, "html")
    shown = dict(re.findall(r'<img src="cid:([^"]+)"[^>]* alt="([^"]+)"', html))
    assert [part.get_content() for part in pictures.values()] == drawn and list(pictures) == list(shown)
    assert all(part.get_content_disposition() == "inline" for part in pictures.values())
    assert "Fits seen again in time: 67\xa0% from about June 2025 on" in list(shown.values())[1].replace("67 %", "67\xa0%")
    assert "src=" not in html.replace('src="cid:', "") and "<script" not in html and "<style" not in html


def test_a_chart_that_would_make_it_too_large_is_told_in_words(owners: Letter) -> None:
    message = message_of(owners, [b"1" * 10_000, b"2" * 60_000], ENVELOPE)
    assert len(message.as_bytes()) < LARGEST_BYTES
    html = part_of(received(message), "html")
    assert html.count("<img") == 1 and "Control chart of Fits seen again in time" in html


def test_headers_are_those_of_a_letter_that_nobody_wrote(owners: Letter) -> None:
    raw = message_of(owners, [], ENVELOPE).as_bytes()
    message = received(message_of(owners, [], ENVELOPE))
    assert str(message["Subject"]) == "July 2026, beside June: no clear change in any figure"
    assert (message["From"].addresses[0].addr_spec, message["To"]) == ("fitledger@example.org", "olga@example.org")
    assert message["Auto-Submitted"] == "auto-generated"
    assert f"List-Unsubscribe: <{ENVELOPE.stop}>\r\n".encode() in raw
    assert message["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert message["Message-ID"] == message_of(made_letter(), [], ENVELOPE)["Message-ID"]
    assert max(map(len, raw.split(b"\r\n"))) < 998


INJECTED = "x\r\nBcc: thief@example.org\r\n\r\n<script>alert(1)</script>\u2028\x0b\x00Cc: y"


def test_no_header_and_no_markup_comes_out_of_a_title_or_a_line() -> None:
    letter = made_letter(title=INJECTED, headline=INJECTED, better=(Line(INJECTED),), notes=(Line(one_line(INJECTED)),))
    message = received(message_of(letter, [], ENVELOPE))
    assert message["Bcc"] is None and message["Cc"] is None
    assert str(message["Subject"]) == "x Bcc: thief@example.org <script>alert(1)</script> Cc: y"
    assert "<script" not in part_of(message, "html") and "&lt;script&gt;" in part_of(message, "html")


@pytest.mark.parametrize("field", ["sender", "to"])
def test_an_address_with_a_line_break_is_no_address(field: str) -> None:
    with pytest.raises(ValueError):
        message_of(made_letter(), [], Envelope(**{**vars(ENVELOPE), field: "a@example.org\r\nBcc: b@example.org"}))


def test_a_note_of_the_studio_stands_in_it_as_one_line_of_text(demo_warehouse: Path) -> None:
    notes = (Note(on=date(2026, 7, 6), words=INJECTED), Note(on=date(2025, 6, 1), words="long ago"))
    settings = Settings(trends=Settings().trends.model_copy(update={"notes": notes}))
    letter = letter_to("owner", Asker(demo_warehouse, settings, lambda: date(2026, 8, 31)), BASE)
    assert [line.words for line in letter.notes] == ["6 Jul 2026: x Bcc: thief@example.org <script>alert(1)</script> Cc: y"]
    assert len(one_line("y" * 999)) == LONGEST_NOTE + 1
    # The chart is of all dates, and so are the letters on it.
    told = "A: 1 Jun 2025, long ago. B: 6 Jul 2026, x Bcc: thief@example.org <script>alert(1)</script> Cc: y."
    over_time = letter.pictures[1]
    assert over_time.key.endswith(f" {told}") and over_time.words.endswith(f" {told}")


def test_a_month_without_fits_is_said_and_what_waits_is_told(demo_warehouse: Path) -> None:
    letter = letter_to("owner", Asker(demo_warehouse, Settings(), lambda: date(2027, 2, 3)), "")
    assert "No fit in January 2027" in letter.headline
    assert letter.todo and not any(line.href for line in letter.todo)


def test_the_same_words_on_another_day_are_the_same_letter(owners: Letter) -> None:
    assert made_letter(made="1 Sep 2026").content == made_letter().content
    assert made_letter(todo=(Line("20 calls due today"),)).content != made_letter().content


AT = datetime(2026, 8, 31, 6, 59, tzinfo=UTC)  # a Monday


@pytest.mark.parametrize(
    ("now", "day", "due"),
    [
        (AT, "monday", datetime(2026, 8, 24, 7, tzinfo=UTC)),
        (AT.replace(hour=7), "monday", datetime(2026, 8, 31, 7, tzinfo=UTC)),
        (AT, "tuesday", datetime(2026, 8, 25, 7, tzinfo=UTC)),
        (AT, "first", datetime(2026, 8, 1, 7, tzinfo=UTC)),
        (datetime(2026, 1, 1, 6, tzinfo=UTC), "first", datetime(2025, 12, 1, 7, tzinfo=UTC)),
        (AT, "never", None),
    ],
)
def test_the_last_time_of_the_schedule(now: datetime, day: Any, due: datetime | None) -> None:
    assert last_scheduled(now, day, 7) == due


@pytest.fixture
def settings_text(tmp_path: Path) -> Iterator[Path]:
    yield tmp_path / "letters.toml"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ('owner = ["olga"]\nfolder = "out"\nsender = "f@example.org"', "expected a mail address such as owner@example.org"),
        ('owner = ["a@b.org\\r\\nBcc: c@d.org"]\nfolder = "out"', "expected a mail address"),
        ('owner = ["a@b.org"]\nsender = "f@example.org"', "name a server, or a folder"),
        ('owner = ["a@b.org"]\nfolder = "out"', "name a sender"),
        ('server = "mail.example.org"\ntls = "none"', "is for a server on this machine alone"),
        ('address = "fits.example.org"', "expected the address of the dashboard"),
        ('address = "https://x.org/\\">"', "expected the address of the dashboard"),
        ('password = "secret word"', "letters.password is no setting; the nearest one is letters.password_file."),
    ],
)
def test_settings_that_cannot_be_meant_are_told(settings_text: Path, words: str, told: str) -> None:
    settings_text.write_text(f"[letters]\n{words}\n", encoding="utf-8")
    with pytest.raises(UsageError) as fault:
        load_settings(settings_text)
    assert told in str(fault.value) and "secret word" not in str(fault.value)


def test_an_address_ends_with_a_slash_and_a_reader_is_named_once() -> None:
    letters = Settings.model_validate(
        {"letters": {"owner": ["A@b.org", "a@B.org"], "folder": "o", "sender": "f@b.org", "address": "https://x.org/studio"}}
    ).letters
    assert (letters.address, letters.to("owner")) == ("https://x.org/studio/", ("a@b.org",))


def test_the_command_prints_the_text(demo_warehouse: Path) -> None:
    printed = CliRunner().invoke(app, ["letter", "--to", "owner", "--print", "--warehouse", str(demo_warehouse)])
    assert printed.exit_code == 0
    assert printed.stdout.startswith("JULY 2026, BESIDE JUNE: NO CLEAR CHANGE IN ANY FIGURE\n\nJuly 2026: no clear change")
    assert "This letter names no rider." in printed.stdout
    assert max(map(len, printed.stdout.splitlines())) <= 80


def test_a_move_is_told_with_its_limits_and_the_letter_leads_with_it(asker: Asker, monkeypatch: pytest.MonkeyPatch) -> None:
    trends: Any = asker.ask("trends", Selection())
    monkeypatch.setattr("dashboard.letters.content.news", lambda answer, _: answer.signals)
    letter = letter_to("owner", asker, BASE)
    (seen,) = (line for line in letter.better if line.words.startswith("Fits seen again in time"))
    limits = [row for row in trends.trend if row.figure == "return_rate" and row.limit_low is not None][-1]
    assert seen.words.startswith("Fits seen again in time: 67\xa0% from about June 2025 on, 39\xa0% before. Usual: ")
    assert f"Usual: {100 * limits.limit_low:.0f} to {100 * limits.limit_high:.0f}\u202f% in a month." in seen.words
    assert seen.href == f"{BASE}over-time?from=2026-07-01&to=2026-07-31"
    assert Signal("return_rate", "higher", date(2025, 6, 1)) in letter.signals
    assert letter.pictures[1].title == "Comfort gained: better from about June 2025 on"
    assert letter.title == "July 2026, over time 2 better; beside June: no clear change in any figure"


def test_a_goal_is_told_beside_its_figure_in_the_words_of_the_process(demo_warehouse: Path) -> None:
    by = Asker(demo_warehouse, Settings(goals=Goals(return_rate=0.75)), lambda: date(2026, 8, 31))
    trends: Any = by.ask("trends", Selection())
    told = [line.words for line in letter_to("owner", by, BASE).unclear]
    assert [words.endswith(trends.goals[0].words) for words in told] == ["seen again" in words for words in told]
    assert trends.goals[0].words.startswith("Goal 75\xa0% or more: ")
