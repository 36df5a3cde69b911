"""Many riders: what is learned from a sample of them, and CR1 in the place of CR2, against every rider by itself."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.statistics import cell_fits
from shared.statistics.cell_fits import fit_mixed_cells, fit_within_cells
from shared.statistics.cells import Cells, Terms, cell_moments, mean_columns
from shared.statistics.many_riders import MANY
from shared.statistics.visit_pairs import inverse_at, pairs_of, slopes, solve, taken_off

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]
N_RIDERS = MANY + 808
WANTED = np.array([True, True, True, False, False])


def studio(
    seed: int, *, n_riders: int = N_RIDERS, visits: tuple[int, ...] = (1, 1, 2, 3), knees: int = 2
) -> tuple[Cells, Terms]:
    """Riders whose fitters go by what stays with the rider, so that least squares is far from the answer."""
    rng = np.random.default_rng(seed)
    of_visit = np.repeat(np.arange(n_riders), rng.choice(visits, n_riders))
    rider, side = np.repeat(of_visit, knees), np.tile(np.arange(knees), len(of_visit))
    visit = np.repeat(np.arange(len(of_visit)), knees)
    kept = rng.random(len(rider)) < 0.95
    rider, side, visit = rider[kept], side[kept], visit[kept]
    n = rng.integers(1, 6, len(rider))
    cell = np.repeat(np.arange(len(rider)), n)
    stays = rng.normal(size=n_riders)
    high = rng.random(len(cell)) < 1 / (1 + np.exp(1 - stays[rider[cell]]))
    columns = np.array([high, rng.random(len(cell)) < 0.1, rng.integers(-1, 4, len(cell))], dtype=float)
    exam = np.column_stack([np.ones(len(rider)), rng.random(len(rider)) < 0.4])
    outcome = np.array([0.5, -0.4, 0.2]) @ columns + exam[cell] @ [30.0, 1.0] + rng.normal(size=len(cell))
    outcome += 1.5 * stays[rider[cell]] + 0.6 * rng.normal(size=int(visit.max()) + 1)[visit[cell]]
    outcome += 0.8 * rng.normal(size=2 * n_riders)[2 * rider[cell] + side[cell]]
    table = np.column_stack([columns.T, outcome])

    def rows(chosen: Flags | None) -> Floats:
        return table.copy() if chosen is None else table[chosen[cell]]

    mean, products = cell_moments(table.T.copy(), n)
    cells = Cells(rider, 2 * rider + side, visit, n, mean[:, :-1], mean[:, -1], products, np.arange(len(rider)), rows)
    places = np.array([[0, 1, 2]])
    return cells, Terms.of(cells, ("a", "b", "count", "intercept", "exam"), np.zeros(len(rider), dtype=np.int64), places, exam)


@pytest.mark.parametrize("shape", [{}, {"visits": (1,)}, {"knees": 1}])
def test_many_riders_have_the_answer_of_every_rider_by_itself(shape: dict[str, int], monkeypatch: pytest.MonkeyPatch) -> None:
    cells, terms = studio(3, **shape)  # type: ignore[arg-type]
    found = fit_mixed_cells(cells, terms, WANTED)
    monkeypatch.setattr(cell_fits, "MANY", 10 * N_RIDERS)
    exact = fit_mixed_cells(cells, terms, WANTED)
    assert not np.array_equal(found.estimate, exact.estimate)  # two ways indeed
    error = np.sqrt(np.diag(exact.robust_covariance))
    # The bounds of METHODS.md, "Many riders".
    assert np.abs((found.estimate - exact.estimate) / error).max() < 1e-3
    assert np.sqrt(np.diag(found.robust_covariance))[WANTED] == pytest.approx(error[WANTED], rel=1e-4)
    assert found.df[WANTED] == pytest.approx(exact.df[WANTED], rel=0.05) and np.isnan(found.df[~WANTED]).all()
    assert found.loglik == pytest.approx(exact.loglik, rel=1e-9)
    assert found.variance_rider == pytest.approx(exact.variance_rider, rel=1e-4)
    assert found.variance_visit == pytest.approx(exact.variance_visit, rel=1e-3)
    assert np.diag(found.model_covariance) == pytest.approx(np.diag(exact.model_covariance), rel=1e-4)
    furthest = np.abs(exact.influence[:, WANTED]).max()
    assert np.abs(found.influence - exact.influence)[:, WANTED].max() < 0.01 * furthest


def test_differences_within_cells_of_many_riders_have_every_riders_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    cells, terms = studio(11)
    own = terms.varying(WANTED)
    found = fit_within_cells(cells, own)
    monkeypatch.setattr(cell_fits, "MANY", 10 * N_RIDERS)
    exact = fit_within_cells(cells, own)
    assert np.array_equal(found.estimate, exact.estimate) and not np.array_equal(found.influence, exact.influence)
    error = np.sqrt(np.diag(exact.robust_covariance))
    assert np.sqrt(np.diag(found.robust_covariance)) == pytest.approx(error, rel=1e-4)
    assert found.df == pytest.approx(exact.df, rel=0.05)
    assert np.abs(found.influence - exact.influence).max() < 0.01 * np.abs(exact.influence).max()


@pytest.mark.parametrize("of_one_visit", [False, True])
def test_a_term_that_rests_on_few_riders_has_these_computed_one_by_one(
    of_one_visit: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    cells, terms = studio(5)
    # Among riders of one visit alone nothing tells the visit from the rider: the ratios are all riders' still.
    choosable = np.flatnonzero(np.bincount(cells.rider) == 2) if of_one_visit else np.arange(N_RIDERS)
    heavy = choosable[np.arange(60) * 11]
    rare = np.zeros(len(cells.n), dtype=np.int64)
    rare[np.isin(cells.rider, heavy)] = 1
    names = ("a", "b", "count", "rare a", "intercept", "exam")
    by_level = Terms.of(cells, names, rare, np.array([[0, 1, 2], [3, 1, 2]]), terms.constant)
    wanted = np.array([True, True, True, True, False, False])
    found = fit_mixed_cells(cells, by_level, wanted)
    monkeypatch.setattr(cell_fits, "MANY", 10 * N_RIDERS)
    exact = fit_mixed_cells(cells, by_level, wanted)
    assert exact.df[3] < 100
    assert found.df[3] == pytest.approx(exact.df[3], rel=1e-3)
    # The other terms as ever: METHODS.md, "Many riders".
    assert found.df[wanted] == pytest.approx(exact.df[wanted], rel=0.05)
    error = np.sqrt(np.diag(exact.robust_covariance))
    assert np.sqrt(np.diag(found.robust_covariance))[wanted] == pytest.approx(error[wanted], rel=1e-4)
    assert found.influence[heavy, 3] == pytest.approx(exact.influence[heavy, 3], rel=1e-3, abs=1e-3 * error[3])


@pytest.mark.parametrize("n_few", [30, 300])
def test_within_cells_too(n_few: int, monkeypatch: pytest.MonkeyPatch) -> None:
    cells, _ = studio(6)
    rare = np.zeros(len(cells.n), dtype=np.int64)
    rare[np.isin(cells.rider, np.arange(n_few) * 7)] = 1
    names = ("a", "b", "count", "rare a")
    own = Terms.of(cells, names, rare, np.array([[0, 1, 2], [3, 1, 2]]))
    found = fit_within_cells(cells, own)
    monkeypatch.setattr(cell_fits, "MANY", 10 * N_RIDERS)
    exact = fit_within_cells(cells, own)
    assert found.df == pytest.approx(exact.df, rel=0.05)
    error = np.sqrt(np.diag(exact.robust_covariance))
    assert np.sqrt(np.diag(found.robust_covariance)) == pytest.approx(error, rel=1e-3)


def test_a_column_that_says_what_one_before_it_says_is_left_out() -> None:
    cells, terms = studio(9, n_riders=1200)
    both = np.column_stack([terms.constant, terms.constant[:, 1]])
    twice = Terms.of(cells, (*terms.names, "exam again"), terms.level, terms.places, both)
    found, alone = fit_mixed_cells(cells, twice, np.append(WANTED, False)), fit_mixed_cells(cells, terms, WANTED)
    assert found.terms == alone.terms and np.array_equal(found.estimate, alone.estimate)
    assert np.array_equal(found.df[WANTED], alone.df[WANTED])


def test_the_inverse_by_visits_is_that_of_the_covariance_itself() -> None:
    cells, terms = studio(7, n_riders=40)
    pairs = pairs_of(cells)
    assert pairs is not None
    ratios = np.array([0.9, 0.5, 0.3])
    rider, knee, visit = (np.repeat(codes, cells.n) for codes in (cells.rider, cells.knee, cells.visit))
    same = [np.equal.outer(codes, codes).astype(float) for codes in (rider, knee, visit)]
    covariance = np.eye(len(rider)) + sum(ratio * matrix for ratio, matrix in zip(ratios, same, strict=True))
    inverse = np.linalg.inv(covariance)
    found = inverse_at(pairs, ratios)
    assert found.logdet == pytest.approx(np.linalg.slogdet(covariance)[1])
    assert found.d_logdet == pytest.approx([np.sum(inverse * matrix) for matrix in same])
    root_n = np.sqrt(pairs.n)
    columns = mean_columns(cells, terms) * np.sqrt(cells.n)[:, None]
    cell = np.repeat(np.arange(len(cells.n)), cells.n)
    rows = (columns / np.sqrt(cells.n)[:, None])[cell]
    expected = rows.T @ (np.eye(len(rider)) - inverse) @ rows
    assert taken_off(pairs, found, root_n, columns) == pytest.approx(expected)
    turned = [rows.T @ inverse @ matrix @ inverse @ rows for matrix in same]
    assert slopes(pairs, found, root_n, columns) == pytest.approx(np.array(turned))
    solved = solve(pairs, found, pairs.of_cells(columns[:, -1]) * root_n)
    assert solved.taken_off == pytest.approx(expected[-1, -1])
    through = inverse @ rows[:, -1]
    assert solved.slope == pytest.approx([through @ matrix @ through for matrix in same])
    here = pairs.n > 0
    assert solved.cells[here] == pytest.approx(np.bincount(cell, weights=through)[pairs.place[here]])


def test_cells_that_are_no_pairs_are_left_to_the_other_way() -> None:
    cells, _ = studio(7, n_riders=40)
    most = np.bincount(cells.rider).argmax()
    third = np.where(cells.rider == most, np.arange(len(cells.n)) + 10**5, cells.knee)
    assert pairs_of(replace(cells, knee=third)) is None
    assert pairs_of(replace(cells, visit=np.array([f"v{code}" for code in cells.visit]))) is None
    apart = cells.visit.copy()
    apart[apart == apart[-1]] = apart[0]
    assert pairs_of(replace(cells, visit=apart)) is None


@pytest.mark.parametrize("n_riders", [400, 1200])
@pytest.mark.parametrize("begun", [{"rider": 0.0, "knee": 0.0, "visit": 0.0}, {"rider": 2.0, "knee": 0.5, "visit": 1.0}])
def test_where_the_search_begins_does_not_move_where_it_ends(n_riders: int, begun: dict[str, float]) -> None:
    cells, terms = studio(8, n_riders=n_riders)
    found, expected = fit_mixed_cells(cells, terms, WANTED, begun), fit_mixed_cells(cells, terms, WANTED)
    error = np.sqrt(np.diag(expected.model_covariance))
    assert np.abs((found.estimate - expected.estimate) / error).max() < 1e-4
    assert np.diag(found.robust_covariance)[WANTED] == pytest.approx(np.diag(expected.robust_covariance)[WANTED], rel=1e-4)
    assert (found.variance_rider, found.variance_visit) == pytest.approx(
        (expected.variance_rider, expected.variance_visit), rel=1e-3
    )
