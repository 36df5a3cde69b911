"""The list of all parts: made from the lock alone, valid by the schema of its standard, the same every time."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def sbom(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What `make sbom` writes, by the words of the Makefile."""
    recipe = (ROOT / "Makefile").read_text(encoding="utf-8").partition("\nsbom:")[2].partition("\n\n")[0]
    words = recipe.partition("cyclonedx-py ")[2].replace("\\\n", " ").split()
    out = tmp_path_factory.mktemp("sbom") / "sbom.json"
    words[words.index("--output-file") + 1] = str(out)
    words.append("--no-validate")  # the first test does
    subprocess.run([Path(sys.executable).with_name("cyclonedx-py"), *words], cwd=ROOT, check=True, capture_output=True)
    return out.read_text(encoding="utf-8")


def test_it_is_valid_by_its_schema(sbom: str) -> None:
    assert JsonStrictValidator(SchemaVersion.V1_6).validate_str(sbom) is None


def test_it_names_every_part_of_the_lock_with_its_digests(sbom: str) -> None:
    lock = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    locked = re.findall(r"^([A-Za-z0-9._-]+)==([^\s;\\]+)", lock, re.MULTILINE)
    told = json.loads(sbom)
    assert sorted((part["name"], part["version"]) for part in told["components"]) == sorted(locked)
    digests = {one["content"] for part in told["components"] for to in part["externalReferences"] for one in to["hashes"]}
    assert digests == set(re.findall(r"sha256:([0-9a-f]{64})", lock))
    assert told["metadata"]["component"]["name"] == "fitledger"


def test_it_is_the_same_every_time_and_names_no_place_to_fetch_from(sbom: str) -> None:
    told = json.loads(sbom)
    assert "serialNumber" not in told and "timestamp" not in told["metadata"]
    places = {to["url"].split(":")[0] for part in told["components"] for to in part["externalReferences"]}
    assert places == {"lock"}
