"""Files that were received under names of our own, such as those of an upload."""

from collections.abc import Iterable
from pathlib import Path

from etl.mapping import MAPPING_FILE, load_mapping
from etl.source import FoundFile


def received_files(files: Iterable[tuple[str, Path]]) -> list[FoundFile]:
    """Files that lie under other names than their own, each with its own name: as those of one folder, so that a
    mapping.toml among them holds for the others.

    Raises UsageError where that mapping is wrong.
    """
    files = list(files)
    mapping = next((load_mapping(path, name) for name, path in files if name == MAPPING_FILE), None)
    return [
        FoundFile(path, name, mapping=mapping)
        for name, path in files
        if name != MAPPING_FILE and not (mapping and mapping.is_ignored(name))
    ]
