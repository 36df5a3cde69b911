"""Where a key comes from, what is refused of it in one sentence each, and that a key is never part of a message."""

import os
import stat
import sys
from pathlib import Path

import keyring
import pytest
from keyring.backend import KeyringBackend

from shared.errors import UsageError, WarehouseKeyError
from shared.keys import KEY_FILE_VARIABLE, Key, KeyPlace, Keys, keys_in_force, new_key, place_in_force
from shared.settings import load_settings, use_settings_file
from shared.settings_edit import drop_encryption, set_encryption


@pytest.fixture(autouse=True)
def alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A working folder without settings, and no key of the environment."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv(KEY_FILE_VARIABLE, raising=False)


def test_without_a_place_nothing_is_encrypted() -> None:
    assert place_in_force() is None
    assert keys_in_force() is None


def test_keys_come_back_from_their_file_in_order_and_it_is_its_owners_alone(tmp_path: Path) -> None:
    keys = Keys(new_key(), (new_key(), new_key()))
    place = KeyPlace(tmp_path / "safe" / "studio.key")
    assert place.read() is None
    place.write(keys)
    assert place.read() == keys
    assert place.path
    assert stat.S_IMODE(place.path.stat().st_mode) == 0o600


def test_settings_name_the_place_from_their_own_folder_and_the_environment_goes_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "fitledger.toml").write_text('[encryption]\nkey_file = "a.key"\n', encoding="utf-8")
    elsewhere = tmp_path / "elsewhere" / "other.toml"
    elsewhere.parent.mkdir()
    elsewhere.write_text('[encryption]\nkey_file = "b.key"\n', encoding="utf-8")
    assert place_in_force() == KeyPlace(Path("a.key"))
    use_settings_file(elsewhere)
    try:
        assert place_in_force() == KeyPlace(elsewhere.parent / "b.key")
        monkeypatch.setenv(KEY_FILE_VARIABLE, "c.key")
        assert place_in_force() == KeyPlace(Path("c.key"))
    finally:
        use_settings_file(None)


def test_two_places_at_once_are_refused(tmp_path: Path) -> None:
    (tmp_path / "fitledger.toml").write_text('[encryption]\nkey_file = "a"\nkeyring = "b"\n', encoding="utf-8")
    with pytest.raises(UsageError, match="name key_file or keyring, not both"):
        load_settings()


def lost(path: Path) -> None:
    path.unlink()


def empty(path: Path) -> None:
    path.write_text("# nothing\n\n", encoding="utf-8")


def open_to_others(path: Path) -> None:
    path.chmod(0o644)


def short(path: Path) -> None:
    path.write_text("c2hvcnQ=\n", encoding="utf-8")


def no_text(path: Path) -> None:
    path.write_bytes(b"\xff\xfe\x00")


def a_folder(path: Path) -> None:
    path.unlink()
    path.mkdir(0o700)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lost, "the key is not there"),
        (empty, "there is no key in it"),
        (open_to_others, "others than its owner may use this key (mode 644)"),
        (short, "is no key of fitledger"),
        (no_text, "the key cannot be read (it is no text)"),
        (a_folder, "the key cannot be read"),
    ],
)
def test_a_key_that_cannot_be_used_is_told_in_one_sentence_without_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, spoil: object, words: str
) -> None:
    path = tmp_path / "studio.key"
    keys = Keys(new_key())
    KeyPlace(path).write(keys)
    monkeypatch.setenv(KEY_FILE_VARIABLE, str(path))
    assert keys_in_force() == keys
    spoil(path)  # type: ignore[operator]
    with pytest.raises(WarehouseKeyError) as told:
        keys_in_force()
    assert told.value.exit_code == 5
    assert str(path) in str(told.value)
    assert words in str(told.value)
    assert keys.present.text not in str(told.value)


@pytest.mark.parametrize("setting", ["key_file", "keyring"])
def test_a_key_in_the_settings_is_refused_and_not_repeated(tmp_path: Path, setting: str) -> None:
    key = new_key()
    (tmp_path / "fitledger.toml").write_text(f'[encryption]\n{setting} = "{key.text}"\n', encoding="utf-8")
    with pytest.raises(UsageError, match="holds a key itself") as told:
        place_in_force()
    assert key.text not in str(told.value)
    (tmp_path / "fitledger.toml").write_text(f'[encryption]\nkey = "{key.text}"\n', encoding="utf-8")
    with pytest.raises(UsageError, match=r"encryption\.key is no setting") as told:
        place_in_force()
    assert key.text not in str(told.value)


def test_a_key_with_two_slashes_in_a_row_is_a_key_too(tmp_path: Path) -> None:
    """As a path it would lose one of them, and be none any more."""
    text = "sCLJr2cGrOU7NMmxGVNrOrASRn//BIfEIA6wFHyQi1c="
    (tmp_path / "fitledger.toml").write_text(f'[encryption]\nkey_file = "{text}"\n', encoding="utf-8")
    with pytest.raises(UsageError, match="holds a key itself"):
        place_in_force()


def test_a_key_does_not_show_in_its_own_words() -> None:
    key = new_key()
    told = f"{key} {key!r} {Keys(key, (key,))!r} {KeyPlace(Path('x'))!r}"
    assert key.text not in told
    assert len(key.id) == 8
    assert key.id == Key(key.text).id != new_key().id


class InMemory(KeyringBackend):
    """A keyring of the test's own."""

    priority = 1

    def __init__(self) -> None:
        super().__init__()
        self.kept: dict[tuple[str, str], str] = {}

    def get_password(self, service: str, username: str) -> str | None:
        return self.kept.get((service, username))

    def set_password(self, service: str, username: str, password: str) -> None:
        self.kept[service, username] = password


def test_a_keyring_keeps_keys_under_the_entry_that_the_settings_name(tmp_path: Path) -> None:
    before = keyring.get_keyring()
    keyring.set_keyring(InMemory())
    try:
        (tmp_path / "fitledger.toml").write_text('[encryption]\nkeyring = "quay"\n', encoding="utf-8")
        with pytest.raises(WarehouseKeyError, match=r"keyring \(entry quay of fitledger\): the key is not there"):
            keys_in_force()
        keys = Keys(new_key(), (new_key(),))
        KeyPlace(None, "quay").write(keys)
        assert keys_in_force() == keys
    finally:
        keyring.set_keyring(before)


def test_a_machine_without_a_keyring_or_its_package_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    from keyring.backends.fail import Keyring as NoKeyring

    before = keyring.get_keyring()
    keyring.set_keyring(NoKeyring())
    try:
        with pytest.raises(WarehouseKeyError, match="The system's keyring did not answer"):
            KeyPlace(None, "quay").read()
    finally:
        keyring.set_keyring(before)
    monkeypatch.setitem(sys.modules, "keyring", None)
    with pytest.raises(WarehouseKeyError, match=r"pip install 'fitledger\[keyring\]'"):
        KeyPlace(None, "quay").read()


def test_older_keys_stay_as_long_as_they_are_needed() -> None:
    first = Keys(new_key())
    second = first.with_new()
    third = second.with_new()
    assert [key.id for key in third.all] == [third.present.id, second.present.id, first.present.id]
    assert third.only({first.present.id}).all == (third.present, first.present)


SETTINGS = """# the studio's own
[knee]
neutral_within_deg = 1.5  # as agreed

[encryption]  # of last year
key_file = "old.key"

# about the trends
[[trends.notes]]
on = 2025-01-01
words = "[encryption]"
"""


def test_the_settings_file_is_given_its_section_and_keeps_every_other_line(tmp_path: Path) -> None:
    path = tmp_path / "fitledger.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    path.chmod(0o640)
    set_encryption(path, "key_file", 'C:\\a "b".key')
    text = path.read_text(encoding="utf-8")
    assert load_settings(path).encryption.key_file == 'C:\\a "b".key'
    assert "# as agreed" in text
    assert "# about the trends" in text
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    drop_encryption(path)
    assert load_settings(path).encryption.key_file == ""
    assert load_settings(path).trends.notes[0].words == "[encryption]"
    new = tmp_path / "new.toml"
    set_encryption(new, "keyring", "quay")
    assert load_settings(new).encryption.keyring == "quay"


def test_a_section_in_another_form_is_left_to_the_hand(tmp_path: Path) -> None:
    path = tmp_path / "fitledger.toml"
    path.write_text('encryption.key_file = "x"\n', encoding="utf-8")
    for edit in (lambda: drop_encryption(path), lambda: set_encryption(path, "keyring", "quay")):
        with pytest.raises(UsageError, match="by hand"):
            edit()
    assert path.read_text(encoding="utf-8") == 'encryption.key_file = "x"\n'


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    with pytest.raises(WarehouseKeyError, match="the key could not be written"):
        KeyPlace(blocked / "studio.key").write(Keys(new_key()))
    assert os.listdir(tmp_path) == ["file"]  # noqa: PTH208
