"""Where extensions of DuckDB lie: in installed Python packages, each for one version of DuckDB, never from the network."""

from importlib.util import find_spec
from pathlib import Path


def package_of(extension: str) -> str:
    """The package that holds an extension."""
    return f"duckdb-extension-{extension.replace('_', '-')}"


def extension_file(extension: str, duckdb_version: str) -> Path | None:
    """The extension for this DuckDB in the installed package; None where there is no package or it is for another version."""
    package = find_spec(package_of(extension).replace("-", "_"))
    for folder in (package.submodule_search_locations or ()) if package else ():
        file = Path(folder) / "extensions" / f"v{duckdb_version}" / f"{extension}.duckdb_extension"
        if file.is_file():
            return file
    return None
