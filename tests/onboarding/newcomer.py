"""Sets a studio up as a new reader would, by the commands alone, and counts what it took."""

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from typer.testing import CliRunner

from dashboard.cli import app
from tests.onboarding.scenarios import Scenario

_MISSING: Final = re.compile(r'^  "(?P<key>[^"]+)" = one of (?P<choices>.*?)(?: \(likely (?P<likely>.*)\))?$', re.MULTILINE)
_MOST_TRIES: Final = 6


@dataclass
class SetUp:
    """How a studio was set up. tries: commands run; said: answers given; by_hand: lines of a mapping written by hand; written:
    lines that the assistant wrote; likely: what it proposed, by the key of the question; printed: what the last one said."""

    warehouse: Path
    tries: int = 0
    said: dict[str, str] = field(default_factory=dict)
    by_hand: int = 0
    written: int = 0
    likely: dict[str, str] = field(default_factory=dict)
    printed: str = ""

    def run(self, *words: object) -> str:
        self.tries += 1
        result = CliRunner().invoke(app, [str(word) for word in words])
        assert result.exit_code in (0, 3), f"{words}: {result.output} {result.exception!r}"
        self.printed = result.output
        return self.printed


def set_up(scenario: Scenario, folder: Path) -> SetUp:
    """Runs `map` until nothing is asked that the reader knows, then `start`."""
    scenario.write(scenario.truth(), folder / "exports")
    done = SetUp(folder / "studio.duckdb")
    mapping, answers = folder / "exports" / "mapping.toml", folder / "answers.toml"
    while done.tries < _MOST_TRIES:
        mapping.unlink(missing_ok=True)
        printed = done.run("map", folder / "exports", "--no-ask", *(["--answers", answers] if done.said else []))
        done.likely |= {one["key"]: one["likely"] for one in _MISSING.finditer(printed) if one["likely"]}
        asked = {one["key"]: _known(scenario, one["key"]) or one["likely"] for one in _MISSING.finditer(printed)}
        fresh = {key: said for key, said in asked.items() if said and key not in done.said}
        if not fresh:
            break
        done.said |= fresh
        answers.write_text("".join(f'"{key}" = "{said}"\n' for key, said in done.said.items()), encoding="utf-8")
    done.written = sum(bool(line.strip()) and not line.startswith("#") for line in mapping.read_text("utf-8").splitlines())
    done.run("start", folder / "exports", "--warehouse", done.warehouse, "--no-serve")
    return done


def _known(scenario: Scenario, key: str) -> str | None:
    """What the reader knows: of this very question, or of all of its kind."""
    kinds = sorted((word for word in scenario.knows if word.startswith(".") and key.endswith(word)), key=len)
    return scenario.knows.get(key) or (scenario.knows[kinds[-1]] if kinds else None)
