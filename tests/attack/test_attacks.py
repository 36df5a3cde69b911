"""A bounded part of `make attack` that CI runs; the walk through everything is in tests/unit/test_accounts_served.py."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.attack import forgetting, leftovers, names, sign_in, table, walking
from tests.attack.house import House, open_house
from tests.attack.rows import Row, as_markdown, row

# Attacks that get through, each with what is to close it; one that holds must be taken out of here.
NOT_HELD: dict[str, str] = {}


@pytest.fixture(scope="module")
def house(demo_warehouse: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    with open_house(demo_warehouse, tmp_path_factory.mktemp("attacked")) as house:
        yield house


def require_held(rows: list[Row]) -> None:
    through = [one for one in rows if not one["held"]]
    assert {one["attack"] for one in through} == {one["attack"] for one in rows} & set(NOT_HELD), as_markdown(through)


def test_signing_in_and_out(house: House) -> None:
    require_held(sign_in.rows_of(house))


def test_what_the_server_tells_of_itself(house: House) -> None:
    require_held([walking.of_itself(house)])


@pytest.mark.parametrize(
    "attack", [forgetting.bounded, leftovers.bounded, lambda: names.rows(4)], ids=["forgetting", "leftovers", "names"]
)
def test_the_command(attack: Callable[[], list[Row]]) -> None:
    require_held(attack())


def test_every_attack_of_the_table_is_there_or_told_as_missing() -> None:
    [missing] = table.rows_of("no_such_attack")
    assert (missing["held"], missing["told"]) == (False, "module missing")
    assert set(missing) == {"attack", "tried", "held", "told"}
    assert "| **not held** | module missing |" in as_markdown([missing])
    assert row("x", "y", [], "z")["held"]
