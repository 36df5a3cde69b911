"""Who may load from the Data page, and the one folder of this machine that it may read: named by the settings or by `fitledger
start`, never by a browser.
"""

from collections.abc import Iterator
from ipaddress import ip_address
from itertools import islice
from pathlib import Path

from etl.find import ANNOUNCED, MAYBE, form_of
from etl.mapping import MAPPING_FILE
from shared.errors import UploadError
from shared.paths import on_one_line
from shared.settings import Settings
from shared.settings_running import Upload as UploadSettings
from shared.working import PLACE


def require_open(allowed: UploadSettings, address: str | None) -> None:
    """Raises UploadError where the settings let no reader at this address load."""
    if not allowed.allowed:
        raise UploadError(
            "Loading from this page is switched off in the studio's settings ([upload] allowed). Nothing was changed. "
            "Load with the command: fitledger load FOLDER."
        )
    if not allowed.from_elsewhere and not _is_loopback(address):
        raise UploadError(
            "Loading from this page is open to readers on the computer that serves it only. Nothing was changed. Load "
            "there, or have [upload] from_elsewhere set to true in the studio's settings."
        )


def folder_name(settings: Settings) -> str:
    """The own name of the folder, without where it lies; empty where none is named."""
    return on_one_line(Path(settings.upload.folder).resolve().name) if settings.upload.folder else ""


def files_of(settings: Settings) -> list[tuple[str, Path]]:
    """The files of exports in the folder and below it, and a mapping.toml in it, by their names from there on.

    Raises UploadError where no folder is named, it is gone, holds none or too many.
    """
    if not settings.upload.folder:
        raise UploadError(
            "No folder is named that this page may read. Nothing was changed. Start with fitledger start FOLDER, or name one "
            "in the settings ([upload] folder)."
        )
    folder = Path(settings.upload.folder)
    if not folder.is_dir():
        raise UploadError(f"The folder {folder_name(settings)} is not there. Nothing was changed. Connect it, and try again.")
    # One more than may be is enough to say so.
    inside = islice(_within(folder), settings.reading.most_files + 1)
    found = [(on_one_line(file.relative_to(folder).as_posix()), file) for file in inside]
    if not found or len(found) > settings.reading.most_files:
        n_found = "too many files" if found else "no file"
        raise UploadError(
            f"The folder {folder_name(settings)} holds {n_found} of exports, expected 1 to "
            f"{settings.reading.most_files:,}. Nothing was changed. Load with the command: fitledger load FOLDER."
        )
    return sorted(found)


def _within(folder: Path) -> Iterator[Path]:
    """Files of a form that may be read, links to folders and files of programs at work left out."""
    for path in folder.rglob("*"):
        is_export = form_of(path.name, (*ANNOUNCED, *MAYBE)) is not None or path == folder / MAPPING_FILE
        if is_export and path.is_file() and not path.is_symlink() and PLACE not in path.parts:
            yield path


def _is_loopback(address: str | None) -> bool:
    try:
        ip = ip_address(address or "")
    except ValueError:
        return False
    mapped = getattr(ip, "ipv4_mapped", None)
    return (mapped or ip).is_loopback
