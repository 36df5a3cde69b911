"""Where a lake lies: its catalogue, its folder of data, and the path that stands for it on this machine."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

from shared.errors import UsageError

# A file with this ending is a lake's catalogue, or this machine's copy of one.
ENDING: Final = ".ducklake"
PREFIX: Final = "lake:"
_POSTGRES: Final = "postgres:"


@dataclass(frozen=True)
class Place:
    """A lake: `catalogue` is the file that stands for it on this machine, `data` its folder of data. `postgres` says how the
    catalogue of all machines is reached; None where the file itself is the catalogue. Where no settings name the lake
    (`is_named` is false), the folder lies beside its catalogue.
    """

    catalogue: Path
    data: Path
    postgres: str | None = None
    is_named: bool = True


class LakeSettings(Protocol):
    """A section of the settings, see shared/settings_running.py."""

    @property
    def catalogue(self) -> str: ...
    @property
    def data(self) -> str: ...
    @property
    def beside(self) -> str: ...


class _Known:
    """The lakes that this run was told of, by the path that stands for each."""

    places: dict[Path, Place] = {}  # noqa: RUF012  # one for the whole run, as the settings file is


def stand_in(copy: Path, path: Path) -> None:
    """A working copy of a lake's catalogue has the same data as the lake itself."""
    if is_lake(path) and is_lake(copy):
        _Known.places[copy.absolute()] = place_of(path)


def is_lake(path: Path | None) -> bool:
    """Whether a warehouse's path stands for a lake."""
    return path is not None and path.suffix == ENDING


def place_of(path: Path) -> Place:
    """The lake that a path stands for; of a catalogue file that no settings name, the data lie beside it."""
    return _Known.places.get(path.absolute(), Place(path, path.with_name(f"{path.name}.data"), is_named=False))


def located(name: str, lakes: Mapping[str, LakeSettings], settings: Path) -> Path:
    """The path that stands for the lake `name`, as [lakes.NAME] of a settings file has it.

    Raises UsageError where there is no such lake, or its catalogue is no place for one.
    """
    if name not in lakes:
        there = ", ".join(sorted(lakes)) or "none"
        raise UsageError(
            f"{PREFIX}{name}: the settings file {settings} names no lake of this name; it names: {there}. Write "
            f"[lakes.{name}] with catalogue and data into it (docs/chain.md), or name another warehouse."
        )
    given, folder = lakes[name], settings.absolute().parent
    data = folder / given.data
    if given.catalogue.startswith(_POSTGRES):
        own = folder / (given.beside or f"{name}.lake")
        place = Place(own / f"{name}{ENDING}", data, given.catalogue.removeprefix(_POSTGRES).strip())
        _require_no_password(name, place.postgres or "")
    else:
        place = Place(folder / given.catalogue, data)
        if place.catalogue.suffix != ENDING:
            raise UsageError(
                f"[lakes.{name}] catalogue: found {given.catalogue!r}, expected a file that ends in {ENDING}, or "
                f"{_POSTGRES} and how the database is reached."
            )
    _Known.places[place.catalogue.absolute()] = place
    return place.catalogue


def _require_no_password(name: str, connection: str) -> None:
    """A settings file is read by many; passwords lie in libpq's own file."""
    if "password" in connection.lower() or (
        "://" in connection and "@" in connection and ":" in connection.split("://")[1].split("@", maxsplit=1)[0]
    ):
        raise UsageError(
            f"[lakes.{name}] catalogue: found a password, expected none: this file is read by many. Put it into the file that "
            "PostgreSQL's own programs read (~/.pgpass, rights 0600), or let the server know the user by the socket."
        )


def refuse_lake(path: Path, what: str, instead: str) -> None:
    """Raises UsageError where the path stands for a lake, for what a lake cannot do."""
    if is_lake(path):
        raise UsageError(f"{path}: this is a lake, which {what}. Nothing was changed. {instead}")
