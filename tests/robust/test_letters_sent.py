"""Letters through real mail servers, and ones that refuse, drip and break off: each goes once, and what failed is told."""

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from dashboard.commands.loading import send_letters_due
from dashboard.commands.tending import _letters_due
from dashboard.letters import due
from dashboard.letters.behind import SentBehind
from dashboard.letters.content import Letter
from dashboard.letters.due import Post, send_due_quietly
from dashboard.letters.posting import PASSWORD_VARIABLE, MayBePostedError, NotPostedError, post
from dashboard.letters.stopping import reader_of
from dashboard.letters.written import message_of
from dashboard.questions.door.asking import Asker
from etl.keeping.letters import letters_told
from etl.keeping.watch import Watcher
from etl.report import LoadReport
from shared.logbook.letters import MOST_TRIES, Letters, Signal
from shared.settings import Settings, load_settings
from shared.settings_letters import Letters as LetterSettings
from tests.robust.mail_servers import PASSWORD, Kept, certificate, mail_server, spoken
from tests.unit.made_letters import made_letter
from tests.unit.test_letters import ENVELOPE

TO = "olga@example.org"
FIRST = datetime(2026, 8, 31, 9, tzinfo=UTC)
GREETED = (b"220 here\r\n", b"250 hello\r\n", b"250 sender\r\n", b"250 address\r\n")


def settings_of(port: int = 25, **given: Any) -> LetterSettings:
    """Settings of letters to one owner through a server on this machine."""
    plain = {"owner": (TO,), "server": "127.0.0.1", "port": port, "tls": "none", "sender": "fitledger@example.org"}
    return LetterSettings(**{**plain, "answer_seconds": 5, **given})


def handed_over(settings: LetterSettings, folder: Path) -> str:
    return post(message_of(made_letter(), [], ENVELOPE), TO, "letter.eml", settings, folder)


def test_a_letter_goes_over_starttls_with_a_password_from_a_file(tmp_path: Path) -> None:
    known, context = certificate(tmp_path)
    (tmp_path / "password").write_text(f"{PASSWORD}\n", encoding="utf-8")
    kept = Kept()
    with mail_server(kept, context, asks_password=True) as port:
        more = {"certificate": known.name, "user": "studio", "password_file": "password"}
        handed_over(settings_of(port, tls="starttls", **more), tmp_path)
    ((sender, to, letter),) = kept.letters
    assert (sender, to, kept.was_encrypted) == ("fitledger@example.org", [TO], [True])
    body = letter.get_body(("plain",))
    assert body is not None and "Comfort gained: better, 0.4 points more than in June, 0.1 to 0.7." in body.get_content()
    assert PASSWORD.encode() not in kept.raw[0]


def test_nothing_is_sent_where_the_certificate_is_not_known(tmp_path: Path) -> None:
    _, context = certificate(tmp_path)
    kept = Kept()
    with (
        mail_server(kept, context) as port,
        pytest.raises(NotPostedError, match=r"over TLS .*Nothing was sent without it") as told,
    ):
        handed_over(settings_of(port, tls="starttls"), tmp_path)
    assert kept.letters == [] and not told.value.for_good


def test_nothing_is_sent_where_the_server_offers_no_encryption(tmp_path: Path) -> None:
    kept = Kept()
    with mail_server(kept) as port, pytest.raises(NotPostedError, match="offers no encryption"):
        handed_over(settings_of(port, tls="starttls"), tmp_path)
    assert kept.letters == []


def test_a_wrong_password_is_told_without_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    known, context = certificate(tmp_path)
    monkeypatch.setenv(PASSWORD_VARIABLE, "wrong word")
    with mail_server(Kept(), context, asks_password=True) as port, pytest.raises(NotPostedError) as fault:
        handed_over(settings_of(port, tls="starttls", certificate=known.name, user="studio"), tmp_path)
    assert "does not take this user and password (535)" in str(fault.value) and "wrong word" not in str(fault.value)
    monkeypatch.delenv(PASSWORD_VARIABLE)
    with pytest.raises(NotPostedError, match=rf"No password .* {PASSWORD_VARIABLE}"):
        handed_over(settings_of(user="studio"), tmp_path)


@pytest.mark.parametrize(
    ("at", "answer", "for_good"),
    [
        ("address", "550 nobody here", True),
        ("address", "450 later", False),
        ("letter", "554 no", True),
        ("letter", "452 full", False),
    ],
)
def test_what_is_refused_for_now_is_tried_again_and_what_is_refused_is_not(
    tmp_path: Path, at: str, answer: str, for_good: bool
) -> None:
    with mail_server(Kept(at, answer)) as port, pytest.raises(NotPostedError, match=re.escape(answer[:3])) as fault:
        handed_over(settings_of(port), tmp_path)
    assert fault.value.for_good == for_good


def test_a_server_that_is_gone_breaks_off_or_says_nonsense_is_told(tmp_path: Path) -> None:
    with spoken() as port:
        pass
    with pytest.raises(NotPostedError, match="could not be reached"):
        handed_over(settings_of(port), tmp_path)
    with spoken(b"220 here\r\n", b"250 hello\r\n") as port, pytest.raises(NotPostedError, match="broke off"):
        handed_over(settings_of(port), tmp_path)
    with spoken(b"\x00\xff nonsense\r\n") as port, pytest.raises(NotPostedError) as fault:
        handed_over(settings_of(port, answer_seconds=0.5), tmp_path)
    assert str(fault.value).isprintable()


def test_a_server_that_drips_is_left_in_time(tmp_path: Path) -> None:
    with (
        spoken(b"220 " + b"h" * 16, drip_seconds=0.1) as port,
        pytest.raises(NotPostedError, match=r"could not be reached|broke off"),
    ):
        handed_over(settings_of(port, answer_seconds=0.5, letter_seconds=0.5), tmp_path)
    with spoken(b"220 here\r\n", b"250 hel", drip_seconds=0.01, ends=False) as port, pytest.raises(NotPostedError):
        handed_over(settings_of(port, answer_seconds=20, letter_seconds=0.5), tmp_path)


def test_a_letter_that_got_no_answer_may_have_gone(tmp_path: Path) -> None:
    with spoken(*GREETED, b"354 go on\r\n") as port, pytest.raises(MayBePostedError, match="no answer after"):
        handed_over(settings_of(port), tmp_path)


def test_without_a_server_letters_lie_in_a_folder_each_once(tmp_path: Path) -> None:
    settings = settings_of(server="", folder="letters")
    handed_over(settings, tmp_path)
    (written,) = (tmp_path / "letters").glob("*.eml")
    first = written.read_bytes()
    handed_over(settings, tmp_path)
    assert written.read_bytes() == first and written.stat().st_mode & 0o077 == 0
    assert [one.name for one in (tmp_path / "letters").iterdir() if one.suffix == ".eml"] == ["letter.eml"]
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(NotPostedError, match="could not be laid there"):
        handed_over(settings_of(server="", folder="file"), tmp_path)


class House:
    """A warehouse with letters: its post, its clock, and the letter that is made."""

    def __init__(self, folder: Path, patch: pytest.MonkeyPatch) -> None:
        self.warehouse, self.now, self.told = folder / "studio.duckdb", FIRST, list[str]()
        self.letter, self.kept = made_letter(), Kept()
        self.n_made = 0
        patch.setattr(due, "letter_to", self._made)
        patch.setattr(due, "pictures_of", lambda _: [])
        patch.setattr(due, "_folder", lambda: folder)

    def _made(self, *_: Any) -> Letter:
        self.n_made += 1
        return self.letter

    def post(self, settings: LetterSettings) -> Post:
        return Post(Asker(self.warehouse, Settings(letters=settings)), lambda: self.now, self.told.append)

    def send_due(self, port: int, **given: Any) -> int:
        return self.post(settings_of(port, **given)).send_due()


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> House:
    return House(tmp_path, monkeypatch)


@pytest.fixture
def port(house: House) -> Iterator[int]:
    with mail_server(house.kept) as at:
        yield at


def test_each_time_of_the_schedule_brings_one_letter_and_never_the_same_twice(house: House, port: int) -> None:
    assert [house.send_due(port) for _ in range(3)] == [1, 0, 0]
    house.now += timedelta(days=1)  # the first of September: the letter would say the same
    assert house.send_due(port) == 0
    house.now += timedelta(days=30)
    house.letter = made_letter(headline="August was another month.")
    assert house.send_due(port) == 1
    assert len(house.kept.letters) == 2
    first, second = (letter["Message-ID"] for _, _, letter in house.kept.letters)
    assert first != second and letters_told(house.warehouse) is None


def test_two_at_once_send_one_letter(house: House, port: int) -> None:
    reader = Letters(house.warehouse).reader("owner", TO)
    claims = [Letters(house.warehouse).claim(reader, "schedule 2026-08-01", datetime(2026, 8, 31, 9)) for _ in range(2)]
    assert [claim is not None for claim in claims] == [True, False]
    assert house.send_due(port) == 0


def test_a_new_move_brings_a_letter_and_a_known_one_does_not(house: House, port: int) -> None:
    settings = {"day": "never"}
    assert house.send_due(port, **settings) == 0
    move = Signal("return_rate", "higher", datetime(2026, 7, 1).date())
    house.letter = made_letter(signals=(move,))
    assert [house.send_due(port, **settings) for _ in range(2)] == [1, 0]
    # The same move, found a month earlier as data came in.
    house.letter = made_letter(headline="x", signals=(Signal("return_rate", "higher", datetime(2026, 6, 1).date()),))
    assert house.send_due(port, **settings) == 0
    house.letter = made_letter(headline="y", signals=(Signal("return_rate", "lower", datetime(2026, 7, 1).date()),))
    assert house.send_due(port, **settings) == 1
    assert house.send_due(port, on_signals=False, day="never") == 0


def test_what_failed_is_tried_again_later_and_later_and_then_told_to_be_done(house: House) -> None:
    with spoken() as gone:
        pass
    house.now, book = datetime(2026, 8, 3, 9, tzinfo=UTC), Letters(house.warehouse)
    for n in range(1, MOST_TRIES + 1):
        assert house.send_due(gone) == 0
        state, words, todo = letters_told(house.warehouse) or ("", "", "")
        assert "could not be reached" in words and TO in words
        assert (state, f"try {n} of" in todo) == (("note", True) if n < MOST_TRIES else ("do", False))
        assert len(house.told) == n
        if n < MOST_TRIES:
            wait, reader = timedelta(minutes=5 * 4 ** (n - 1)), book.reader("owner", TO)
            early = (house.now + wait - timedelta(minutes=1)).replace(tzinfo=None)
            assert book.to_try_again(reader, early) == []
            house.now += wait
            assert book.to_try_again(reader, house.now.replace(tzinfo=None)) == ["schedule 2026-08-01"]
    assert house.send_due(gone) == 0 and len(house.told) == MOST_TRIES
    with mail_server(house.kept) as port:
        assert house.post(settings_of(port)).send_now("owner") == 1
    assert letters_told(house.warehouse) is None and len(house.kept.letters) == 1


def test_a_letter_that_may_have_gone_is_not_sent_again_by_itself(house: House, port: int) -> None:
    with spoken(*GREETED, b"354 go on\r\n") as silent:
        assert house.send_due(silent) == 0
    house.now += timedelta(hours=5)
    assert house.send_due(port) == 0 and house.kept.letters == []
    state, _, todo = letters_told(house.warehouse) or ("", "", "")
    assert state == "do" and todo.startswith("Ask there whether it came")


def test_a_letter_whose_program_was_killed_is_told_and_not_sent_again(house: House, port: int) -> None:
    book = Letters(house.warehouse)
    assert book.claim(book.reader("owner", TO), "schedule 2026-08-01", FIRST.replace(tzinfo=None))
    house.now += timedelta(hours=1)
    assert house.send_due(port) == 0 and house.kept.letters == []
    assert (letters_told(house.warehouse) or ("",))[0] == "do"


def test_asked_for_by_hand_the_same_letter_goes_once_unless_again(house: House, port: int) -> None:
    post_now: Callable[..., int] = house.post(settings_of(port)).send_now
    assert [house.send_due(port), post_now("owner"), post_now("owner"), post_now("owner", again=True)] == [1, 0, 0, 1]
    assert "--again" in house.told[1] and "--again" in house.told[2]
    house.letter = made_letter(headline="Another month.")
    assert [post_now("owner"), house.send_due(port)] == [1, 0]


def test_who_wants_no_letter_gets_none(house: House, port: int) -> None:
    book = Letters(house.warehouse)
    book.set_stopped(book.reader("owner", TO.upper()), datetime(2026, 8, 30), stopped=True)
    assert house.send_due(port) == 0 and house.post(settings_of(port)).send_now("owner") == 0
    assert "wants no letter" in house.told[0]
    # Another role of the same address is another letter.
    assert house.send_due(port, owner=(), head_fitter=(TO,)) == 1


def test_a_load_goes_on_where_the_logbook_is_no_logbook(house: House, port: int) -> None:
    Letters(house.warehouse).reader("owner", TO)
    (house.warehouse.parent / "studio.duckdb.logbook").write_bytes(
        b"no logbook at all, but longer than a head of SQLite is" * 9
    )
    send_due_quietly(Asker(house.warehouse, Settings(letters=settings_of(port))), house.told.append)
    assert len(house.told) == 1 and house.told[0].startswith("letters not looked at, will be tried again:")


def in_settings(house: House, port: int) -> Path:
    file = house.warehouse.parent / "fitledger.toml"
    file.write_text(
        f'[letters]\nowner = ["{TO}"]\nsender = "f@example.org"\nserver = "127.0.0.1"\nport = {port}\ntls = "none"\n',
        encoding="utf-8",
    )
    return file


def test_a_load_by_command_sends_what_is_due(house: House, port: int) -> None:
    settings = in_settings(house, port)
    send_letters_due(house.warehouse, settings)
    send_letters_due(house.warehouse, settings)
    assert len(house.kept.letters) == 1


def test_the_watch_sends_what_is_due_after_a_load_and_not_at_every_look(house: House, port: int) -> None:
    known = load_settings(in_settings(house, port))
    send = _letters_due(house.warehouse, known, stopped=lambda: False, tell=house.told.append)
    send()
    assert house.n_made == 0  # there is no warehouse yet
    house.warehouse.write_bytes(b"one load")
    for _ in range(3):
        send()
    assert (house.n_made, len(house.kept.letters)) == (1, 1)
    house.warehouse.write_bytes(b"another load, longer")
    send()
    assert (house.n_made, len(house.kept.letters)) == (2, 1)
    ended = _letters_due(house.warehouse, known, stopped=lambda: True, tell=house.told.append)
    ended()
    assert house.n_made == 2


def behind(house: House, port: int, **given: Any) -> SentBehind:
    asker = Asker(house.warehouse, Settings(letters=settings_of(port, **given)))
    return SentBehind(asker, house.told.append, pause_seconds=0.05)


def test_a_load_from_the_page_sends_what_is_due_and_waits_for_no_mail(house: House, port: int) -> None:
    after_load = behind(house, port)
    for _ in range(3):
        after_load()
        assert after_load.ended(20)
    assert len(house.kept.letters) == 1
    SentBehind(Asker(house.warehouse, Settings()), house.told.append)()  # no letters are set: nothing is begun
    assert [one.startswith("letter to the owner") for one in house.told] == [True]


def test_a_letter_that_failed_after_a_load_from_the_page_is_told_by_the_doctor_and_tried_again(house: House) -> None:
    with spoken() as gone:
        pass
    after_load = behind(house, gone)
    after_load()
    assert not after_load.ended(1.0), "a letter that waits to be tried again is not forgotten"
    told = letters_told(house.warehouse)
    assert told is not None and told[0] == "note" and "could not be reached" in told[1] and "try 1 of" in told[2]
    # Once it went, by whoever tried it next, nothing waits any more.
    book = Letters(house.warehouse)
    later = datetime.now(UTC).replace(tzinfo=None) + timedelta(minutes=6)
    for unsent in book.unsent():
        claim = book.claim(book.reader("owner", TO), unsent.occasion, later)
        assert claim is not None
        book.gone(claim, "said", ())
    assert after_load.ended(20) and letters_told(house.warehouse) is None


def test_a_fault_of_the_program_in_a_letter_is_none_of_the_loads(
    house: House, port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any) -> Letter:
        raise ZeroDivisionError

    monkeypatch.setattr(due, "letter_to", broken)
    send_due_quietly(Asker(house.warehouse, Settings(letters=settings_of(port))), house.told.append)
    assert len(house.told) == 1 and "It is noted in the log under" in house.told[0] and "Zero" not in house.told[0]


def test_between_two_looks_the_watch_does_what_it_is_given(tmp_path: Path) -> None:
    done: list[str] = []
    watcher = Watcher(
        tmp_path,
        tmp_path / "w.duckdb",
        load=lambda _: LoadReport(),
        clock=lambda: 0.0,
        pause=lambda _: len(done) < 2,
        tell=done.append,
        between=lambda: done.append("letters"),
    )
    watcher.run()
    assert done == ["letters", "letters"]


def test_a_link_of_nobody_writes_nothing(tmp_path: Path) -> None:
    book = Letters(tmp_path / "w.duckdb")
    assert reader_of(book, "MQ.forged") is None
    assert list(tmp_path.iterdir()) == []
