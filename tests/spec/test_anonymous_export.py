"""An anonymous export keeps what it promises: at least ten riders alike, whatever an attacker knows, as it says itself.

Sources: k-anonymity and the attack on groups that are all alike as Sweeney 2002 and Machanavajjhala et al. 2007 define them
(Int J Uncertain Fuzz 10:557; ACM Trans Knowl Discov Data 1:3); record linkage by distance as Domingo-Ferrer & Torra 2001.
"""

import json
import re
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import frictionless
import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from dashboard.commands.exporting import app
from dashboard.export import group_tables
from dashboard.export.anonymous import TEXT, known_of, made_anonymous
from dashboard.export.answers_shown import LISTS
from dashboard.export.attackers import PromiseError
from dashboard.export.group_tables import KNEES, OUTCOMES, Grouped, grouped
from dashboard.export.package import export
from dashboard.export.period import on_grid, pieces_of
from dashboard.export.tables import make_marts, write_marts
from dashboard.questions.door.asking import Asker
from dashboard.questions.selection.selection import Selection
from shared.errors import TooFewError, UsageError
from shared.settings import Settings
from shared.warehouse import Warehouse, open_reading
from tests.attack.anonymous import Tables, members, rows
from tests.attack.row_level import rows_of

FIRST, LAST = date(2024, 1, 1), date(2026, 6, 30)


@pytest.fixture(scope="module")
def asker(demo_warehouse: Path) -> Asker:
    return Asker(demo_warehouse, Settings())


@pytest.fixture(scope="module")
def printed(demo_warehouse: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """An anonymous export as the command writes it, and what it prints."""
    folder = tmp_path_factory.mktemp("export") / "anonymous"
    words = ["export", str(folder), "--anonymous", "--warehouse", str(demo_warehouse)]
    done = CliRunner().invoke(app, words, catch_exceptions=False)
    assert done.exit_code == 0
    return folder, done.stdout


@pytest.fixture(scope="module")
def folder(printed: tuple[Path, str]) -> Path:
    return printed[0]


@pytest.fixture(scope="module")
def held(folder: Path, demo_warehouse: Path) -> Tables:
    """The rows of the files, and who stands in them."""
    return members(folder, demo_warehouse)


@pytest.fixture(scope="module")
def warehouse(demo_warehouse: Path) -> Iterator[Warehouse]:
    opened = open_reading(demo_warehouse)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def left_knees(warehouse: Warehouse) -> pd.DataFrame:
    known = known_of(warehouse, KNEES, Selection(date_from=FIRST, date_to=LAST), Settings())
    return known[known["side"] == "left"]


def test_whatever_an_attacker_knows_ten_riders_are_alike_and_the_export_says_so(
    folder: Path, demo_warehouse: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    attacked = rows(folder, demo_warehouse)
    with capsys.disabled():
        for row in attacked:
            sys.stdout.write(
                f"\n{row['attacker']}: {row['share_below_ten']:.1%} with fewer than ten alike, "
                f"{row['mean_right_guesses']:.1%} right guesses, at most {row['worst']:.1%}"
            )
    assert len(attacked) == 10
    for row in attacked:
        assert row["riders"] > 800 and row["share_below_ten"] == 0 and row["worst"] <= 0.1 + 1e-9, row
    told = rows_of(folder / "anonymity-attackers.csv")
    assert [row["attacker"] for row in told] == [row["attacker"] for row in attacked]
    for printed, counted in zip(told, attacked, strict=True):
        for name in ("riders", "share_below_ten", "fewest_alike", "mean_right_guesses", "worst"):
            assert float(printed[name]) == pytest.approx(counted[name], abs=1e-9), (printed["attacker"], name)


def test_the_table_of_the_readme_is_the_one_that_is_measured(folder: Path) -> None:
    told = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    for row in rows_of(folder / "anonymity-attackers.csv"):
        shares = (float(row[name]) * 100 for name in ("share_below_ten", "mean_right_guesses", "worst"))
        assert "| {} | {:.0f} % | {:.1f} % | {:.0f} % |".format(row["attacker"], *shares) in told, row


def test_an_export_that_gives_riders_out_by_row_is_found_out(demo_warehouse: Path, tmp_path: Path) -> None:
    """The attackers can succeed: they do on the plain export, as they did on the anonymous one that went rider by rider."""
    warehouse = open_reading(demo_warehouse)
    make_marts(warehouse, Selection(), Settings())
    write_marts(warehouse, tmp_path)
    warehouse.close()
    attacked = {row["attacker"]: row for row in rows(tmp_path)}
    assert attacked["and the comfort said"]["share_below_ten"] > 0.99
    assert attacked["supports"]["mean_right_guesses"] > 0.9


def test_an_independent_reader_accepts_every_table(folder: Path) -> None:
    report = frictionless.validate(str(folder / "datapackage.json"))
    assert report.valid, report.flatten(["taskNumber", "rowNumber", "fieldNumber", "note"])[:10]
    assert len(report.tasks) == len(list(folder.glob("*.csv"))) == len(list(folder.glob("*.parquet"))) > 20


def test_the_promise_is_printed_and_stands_in_the_folder_as_text(printed: tuple[Path, str]) -> None:
    folder, stdout = printed
    text = (folder / TEXT).read_text(encoding="utf-8")
    about = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))["anonymity"]
    for words in (about["words"], "the row itself", "health data"):
        assert words in stdout and words in text
    for row in rows_of(folder / "anonymity-attackers.csv"):
        line = next(line for line in text.splitlines() if line.startswith(row["attacker"] + "  "))
        assert line in stdout and f"{float(row['mean_right_guesses']):.1%}" in line
    assert f"from {FIRST} to {LAST}" in text


def test_nothing_names_a_rider_a_fit_a_fitter_or_a_day(folder: Path, warehouse: Warehouse) -> None:
    ids = {
        row["id"]
        for column in ("session_id", "rider_id", "fitter_id", "studio_id")
        for row in warehouse.rows(f"SELECT DISTINCT {column} AS id FROM mart.fits")
    }
    assert len(ids) > 2000
    assert not {cell for path in folder.glob("*.csv") for row in rows_of(path) for cell in row.values()} & ids
    words = {one.encode() for one in ids if len(one) > 3}
    for path in folder.iterdir():
        assert not words.intersection(re.findall(rb"[A-Za-z0-9]+", path.read_bytes())), path.name
    resources = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))["resources"]
    columns = {field["name"] for resource in resources for field in resource["schema"]["fields"]}
    assert not {name for name in columns if name.endswith(("_id", "_code"))}
    assert not columns & {
        "session_date",
        "birth_year",
        "booked_on",
        "due_on",
        "attended_on",
        "notes",
        "note",
        "words",
        "visit_no",
    }


def test_every_row_of_the_tables_is_of_ten_and_every_rider_stands_in_one(held: Tables) -> None:
    for told, riders in held:
        assert min(row["n_riders"] for row in told) >= 10
        assert sum(row["n_riders"] for row in told) == len(riders)


def test_no_row_says_the_same_of_all_its_riders_where_others_should_not_know(folder: Path, held: Tables) -> None:
    """The attack on groups that are all alike, on what is not to be known: bounded. On supports: told, and recounted here."""
    kinds = {
        "rider-groups": [["share_booked"], ["share_attended"]],
        "knee-groups": [list(group_tables.ARCH.columns), list(group_tables.FOREFOOT.columns)],
    }
    for table, families in kinds.items():
        for row in rows_of(folder / f"{table}.csv"):
            for family in families:
                shares = [float(row[name]) for name in family]
                assert max([*shares, 1 - sum(shares)]) <= 1 - 1 / int(row["n_riders"]) + 0.01, row
    told = {(row["table"], row["told"]): row for row in rows_of(folder / "anonymity-told.csv")}
    assert all(float(row["share_certain"]) == 0 for row in told.values() if row["guarded"] == "true")
    levels = [f"share_insole_{level}_departure" for level in ("low", "medium", "high", "custom")]
    rows_shown, riders = held[1]
    certain = [max([*(shares := [row[name] for name in levels]), 1 - sum(shares)]) > 0.999 for row in rows_shown]
    counted = sum(certain[place] for _, place in riders.values()) / len(riders)
    assert float(told["knee-groups, left", ", ".join(levels)]["share_certain"]) == pytest.approx(counted, abs=1e-9)
    assert counted > 0.5


def test_an_export_whose_measured_risk_exceeds_the_promise_is_not_written(
    asker: Asker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    by_three = group_tables.groups_of
    monkeypatch.setattr(group_tables, "groups_of", lambda values, smallest: by_three(values, 3))
    with pytest.raises(PromiseError, match=r"found a rider with 3 alike .* expected at least 10"):
        export(asker, Selection(), tmp_path / "weak", anonymous=True)
    assert not any(tmp_path.iterdir())


def test_a_row_that_says_the_same_of_all_is_not_written(asker: Asker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(group_tables, "_tell_one_as_another", lambda row, common, generator: None)
    with pytest.raises(PromiseError, match="say the same of all their riders"):
        export(asker, Selection(), tmp_path / "weak", anonymous=True)
    assert not any(tmp_path.iterdir())


@pytest.mark.parametrize(("setting", "promise"), [(2, 10), (10, 10), (25, 25)])
def test_a_setting_may_raise_the_promise_and_not_lower_it(warehouse: Warehouse, setting: int, promise: int) -> None:
    settings = Settings.model_validate({"minimum": {"rows_shown": setting}})
    made = made_anonymous(warehouse, Selection(), settings)
    assert made.alike == promise
    assert all(table["n_riders"].min() >= promise for table in made.tables.values())


@pytest.mark.parametrize(
    "selection",
    [
        Selection(rider=("R0001",)),
        Selection(fitter=("F1",)),
        Selection(studio=("quayside",)),
        Selection(side=("left",)),
        Selection(date_from=date(2025, 1, 2)),
        Selection(date_to=date(2025, 3, 30)),
        Selection(date_to=date(2026, 9, 30)),
    ],
)
def test_a_selection_that_another_export_could_be_taken_from_is_refused(
    asker: Asker, tmp_path: Path, selection: Selection
) -> None:
    with pytest.raises(UsageError, match="with --anonymous, expected"):
        export(asker, selection, tmp_path / "narrow", anonymous=True)
    assert not any(tmp_path.iterdir())


def test_pieces_of_time_hold_ten_new_riders_and_stay_as_they_are_when_more_come() -> None:
    counts = [(date(2024, 1, 1), 3), (date(2024, 4, 1), 8), (date(2024, 10, 1), 10), (date(2025, 1, 1), 4)]
    quarters = [{"quarter": day, "n_riders": n} for day, n in counts]
    pieces = pieces_of(quarters, 10)
    assert [(one.first_day, one.last_day, one.n_riders) for one in pieces] == [
        (date(2024, 1, 1), date(2024, 6, 30), 11),
        (date(2024, 10, 1), date(2024, 12, 31), 10),
    ]
    later = pieces_of([*quarters, {"quarter": date(2025, 4, 1), "n_riders": 90}], 10)
    assert later[: len(pieces)] == pieces
    assert (later[-1].first_day, later[-1].last_day) == (date(2025, 1, 1), date(2025, 6, 30))
    asked = on_grid(Selection(split="sex"), pieces, 10)
    assert (asked.date_from, asked.date_to, asked.split) == (date(2024, 1, 1), date(2024, 12, 31), "sex")
    with pytest.raises(TooFewError, match="10 riders came for the first time"):
        on_grid(Selection(), pieces_of(quarters[:1], 10), 10)


def test_two_exports_that_differ_by_one_rider_do_not_tell_that_rider(left_knees: pd.DataFrame) -> None:
    """A rider who was loaded late or forgotten: the sum over all rows, with the rider and without, against a plain guess."""
    whole = grouped(KNEES, "left", left_knees, 10)
    outcomes, kinds = list(OUTCOMES), ["share_arch_low", "share_forefoot_mild_varus", "share_insole_medium_departure"]
    errors, guesses, hits, plain = [], [], [], []
    for place in np.random.default_rng(20261130).choice(len(whole.rider_ids), 24, replace=False):
        without = grouped(KNEES, "left", left_knees[left_knees["rider_id"] != whole.rider_ids[place]], 10)
        taken = _sums(whole) - _sums(without)
        own = whole.values.iloc[place]
        errors.append((taken[outcomes] - own[outcomes]).abs())
        guesses.append((whole.values[outcomes].mean() - own[outcomes]).abs())
        hits.append((taken[kinds] >= 0.5) == (own[kinds] >= 0.5))
        plain.append((whole.values[kinds].mean() >= 0.5) == (own[kinds] >= 0.5))
        assert len(pd.merge(whole.shown, without.shown)) < len(whole.shown) / 4
    assert (pd.DataFrame(errors).median() > 0.6 * pd.DataFrame(guesses).median()).all()
    assert (pd.DataFrame(hits).mean() < pd.DataFrame(plain).mean() + 0.15).all()


def _sums(one: Grouped) -> "pd.Series[float]":
    return one.shown.mul(one.n_riders, axis=0).sum()


def test_the_same_riders_give_the_same_tables(left_knees: pd.DataFrame) -> None:
    pd.testing.assert_frame_equal(grouped(KNEES, "left", left_knees, 10).shown, grouped(KNEES, "left", left_knees, 10).shown)


def test_effects_of_supports_can_be_estimated_from_the_groups(folder: Path, held: Tables) -> None:
    """Least squares of the change on the changes of supports: by rows, weighted, against the riders themselves."""
    shown = pd.read_csv(folder / "knee-groups.csv")
    sides = held[1:]
    riders = pd.DataFrame([own for _, of_side in sides for own, _ in of_side.values()])
    for before, after in zip(OUTCOMES[0::2], OUTCOMES[1::2], strict=True):
        own, error = _least_squares(riders, riders[after] - riders[before], np.ones(len(riders)))
        told, _ = _least_squares(shown, shown[after] - shown[before], shown["n_riders"].to_numpy())
        assert (np.abs(told - own) < 2.5 * error).all(), (before, told, own, error)


def _least_squares(table: pd.DataFrame, change: "pd.Series[float]", weights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    starts = [*(f"share_insole_{level}" for level in ("low", "medium", "high", "custom")), "shims", "stance"]
    unit = {"stance": "_mm"}
    moved = [table[f"{name}_departure{unit.get(name, '')}"] - table[f"{name}_arrival{unit.get(name, '')}"] for name in starts]
    design = np.column_stack([np.ones(len(table)), *moved]) * np.sqrt(weights)[:, None]
    found, *_ = np.linalg.lstsq(design, change.to_numpy() * np.sqrt(weights), rcond=None)
    left = change.to_numpy() * np.sqrt(weights) - design @ found
    spread = left @ left / (len(table) - design.shape[1])
    return found, np.sqrt(spread * np.diag(np.linalg.inv(design.T @ design)))


def test_answers_rest_on_ten_and_leave_nothing_to_take_away(
    asker: Asker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By a split with rare levels: rows of few are held back, and so are those that would give them back."""
    for question in ("effects", "noise", "agreement"):
        monkeypatch.delitem(LISTS, question)
    done = export(asker, Selection(split="riding"), tmp_path / "split", anonymous=True)
    assert done.rows_held_back > 0
    assert not (done.folder / "returns-curve.csv").exists() and not (done.folder / "asymmetry-curve.csv").exists()
    for question in LISTS:
        for row in (row for path in done.folder.glob(f"{question}-*.csv") for row in rows_of(path)):
            counts = [
                int(row[name]) for name in row if name in ("n", "total", "n_riders", "n_feet", "n_pairs", "n_judged", "n_asked")
            ]
            assert all(n >= 10 and n % 5 == 0 for n in counts), (question, row)
    plain = asker.ask("types", replace(Selection(split="riding"), date_from=FIRST, date_to=LAST)).rows("types")
    families: dict[tuple[str, str | None], list[float]] = {}
    for row in plain:
        families.setdefault((row["column"], row["level"]), []).append(row["n_feet_of_kind"])
    told = {(row["column"], row["level"] or None) for row in rows_of(done.folder / "types-types.csv")}
    rare = {family for family, counts in families.items() if min(counts) < 10}
    assert rare and not rare & told
