"""The two models from cells against the same written out by rows."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.errors import StatisticsError
from shared.statistics.clustered.cr2 import cr2_of_rows
from shared.statistics.estimability import demeaned, not_estimable
from shared.statistics.mixed import blocks, sandwich
from shared.statistics.mixed.cells import Cells, cell_moments
from shared.statistics.mixed.fits import fit_mixed_cells, fit_within_cells, within_ties
from shared.statistics.mixed.terms import Terms, row_design
from tests.statsmodels_mixed import whitened

N_RIDERS = 1300
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]
TermsOf = Callable[[Cells, Floats], tuple[Terms, Terms]]


def studio(seed: int, *, heavy_rider: bool = False, n_riders: int = N_RIDERS) -> tuple[Cells, Floats]:
    """One or two visits a rider, both knees, one to five captures; varying columns: two dummies and a count."""
    rng = np.random.default_rng(seed)
    visits = np.repeat(np.arange(n_riders), rng.choice([1, 1, 2], n_riders))
    rider, side = np.repeat(visits, 2), np.tile([0, 1], len(visits))
    visit = np.repeat(np.arange(len(visits)), 2)
    n = rng.integers(1, 6, len(rider))
    cell = np.repeat(np.arange(len(rider)), n)
    columns = np.array([rng.random(len(cell)) < 0.3, rng.random(len(cell)) < 0.1, rng.integers(-1, 4, len(cell))], dtype=float)
    if heavy_rider:
        columns[1] = (rider[cell] == 7) & (rng.random(len(cell)) < 0.5) | (rng.random(len(cell)) < 0.002)
    exam = np.column_stack([np.ones(len(rider)), rng.random(len(rider)) < 0.4, rng.normal(size=len(rider))])
    outcome = np.array([0.5, -0.4, 0.2]) @ columns + exam[cell] @ [30.0, 1.0, 0.3] + rng.normal(size=len(cell))
    outcome += rng.normal(size=n_riders)[rider[cell]] + 0.6 * rng.normal(size=len(visits))[visit[cell]]
    table = np.column_stack([columns.T, outcome])

    def rows(chosen: Flags | None) -> Floats:
        return table.copy() if chosen is None else table[chosen[cell]]

    mean, products = cell_moments(table.T.copy(), n)
    return Cells(rider, 2 * rider + side, visit, n, mean[:, :-1], mean[:, -1], products, np.arange(len(rider)), rows), exam


def overall(cells: Cells, exam: Floats) -> tuple[Terms, Terms]:
    level = np.zeros(len(cells.n), dtype=np.int64)
    within = Terms.of(cells, ("a", "b", "count"), level, np.array([[0, 1, 2]]))
    pooled = Terms.of(cells, (*within.names, "intercept", "exam", "angle"), level, within.places, exam)
    return pooled, within


def by_level(cells: Cells, exam: Floats) -> tuple[Terms, Terms]:
    """The first two columns by three levels, the third as it is; one level has no second column."""
    level = np.random.default_rng(4).integers(0, 3, len(cells.n))
    names = ("a0", "b0", "a1", "b1", "a2", "count")
    within = Terms.of(cells, names, level, np.array([[0, 1, 5], [2, 3, 5], [4, -1, 5]]))
    return Terms.of(cells, (*names, "intercept", "exam", "angle"), level, within.places, exam), within


def codes(cells: Cells) -> tuple[NDArray[np.int64], ...]:
    return tuple(np.repeat(np.asarray(own, dtype=np.int64), cells.n) for own in (cells.rider, cells.knee, cells.visit))


@pytest.mark.parametrize("terms_of", [overall, by_level])
@pytest.mark.parametrize(("n_riders", "heavy_rider"), [(60, False), (N_RIDERS, False), (N_RIDERS, True), (9_000, False)])
def test_the_pooled_model_from_cells_is_that_from_rows(terms_of: TermsOf, n_riders: int, heavy_rider: bool) -> None:
    cells, exam = studio(1, heavy_rider=heavy_rider, n_riders=n_riders)
    terms, _ = terms_of(cells, exam)
    wanted = np.array([name != "intercept" for name in terms.names])
    found = fit_mixed_cells(cells, terms, wanted)
    design, outcome = row_design(cells, terms)
    rider, knee, visit = codes(cells)
    variances = {"rider": found.variance_rider, "knee": found.variance_knee, "visit": found.variance_visit}
    ratios = {name: variance / found.variance_residual for name, variance in variances.items()}
    rows, left = whitened(np.column_stack([design, outcome]), rider, {"knee": knee, "visit": visit}, ratios)
    bread = np.linalg.inv(rows.T @ rows)
    estimate = bread @ (rows.T @ left)
    expected = cr2_of_rows(rows, left - rows @ estimate, rider, wanted=wanted)
    error = np.sqrt(np.diag(expected.covariance))
    assert found.estimate == pytest.approx(estimate, abs=1e-8 * error.min())
    assert np.sqrt(np.diag(found.robust_covariance)) == pytest.approx(error, rel=1e-8)
    assert np.diag(found.model_covariance) == pytest.approx(np.diag(bread) * found.variance_residual, rel=1e-8)
    # What riders of little share would add is left out up to a share of 1e-4.
    assert found.df[wanted] == pytest.approx(expected.df[wanted], rel=1e-4) and np.isnan(found.df[~wanted]).all()
    assert found.influence == pytest.approx(expected.influence, abs=1e-8 * np.abs(expected.influence).max())


@pytest.mark.parametrize("terms_of", [overall, by_level])
@pytest.mark.parametrize("heavy_rider", [False, True])
def test_the_within_model_from_cells_is_that_from_rows(terms_of: TermsOf, heavy_rider: bool) -> None:
    cells, exam = studio(2, heavy_rider=heavy_rider)
    _, terms = terms_of(cells, exam)
    found = fit_within_cells(cells, terms)
    design, outcome = row_design(cells, terms)
    knee = np.repeat(np.arange(len(cells.n)), cells.n)
    x, y = demeaned(design, knee), demeaned(outcome[:, None], knee)[:, 0]
    estimate = np.linalg.lstsq(x, y, rcond=None)[0]
    rider = np.repeat(np.unique(cells.rider, return_inverse=True)[1], cells.n)
    exact = cr2_of_rows(x, y - x @ estimate, rider)
    assert found.estimate == pytest.approx(estimate, rel=1e-9, abs=1e-12)
    assert np.sqrt(np.diag(found.robust_covariance)) == pytest.approx(np.sqrt(np.diag(exact.covariance)), rel=1e-8)
    assert found.df == pytest.approx(exact.df, rel=1e-4)
    repeated = cells.n > 1
    assert (found.n_rows, found.n_knees) == (int(cells.n[repeated].sum()), int(repeated.sum()))
    residual = y - x @ estimate
    assert found.residual_variance == pytest.approx(residual @ residual / (found.n_rows - found.n_knees - len(estimate)))


def test_no_rider_is_left_to_its_sums_and_all_are_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Riders of little leverage by their sums, and every rider by its rows: two ways, one covariance."""
    cells, exam = studio(6)
    terms, _ = by_level(cells, exam)
    wanted = np.ones(len(terms.names), dtype=bool)
    found = fit_mixed_cells(cells, terms, wanted)
    monkeypatch.setattr(sandwich, "LITTLE", -1.0)
    rows = fit_mixed_cells(cells, terms, wanted)
    assert not np.array_equal(found.influence, rows.influence)
    assert found.influence == pytest.approx(rows.influence, abs=1e-9 * np.abs(rows.influence).max())
    assert found.df == pytest.approx(rows.df, rel=1e-4)


def test_chosen_cells_are_the_same_as_cells_made_of_their_rows() -> None:
    cells, exam = studio(3)
    kept = np.random.default_rng(1).random(len(cells.n)) < 0.9
    few = cells.chosen(kept)
    again = few.chosen(few.n > 1)
    table = again.rows(None)
    mean, products = cell_moments(table.T.copy(), again.n)
    assert np.column_stack([again.mean, again.outcome]) == pytest.approx(mean)
    assert again.products == pytest.approx(products, abs=1e-10)
    assert len(exam) == len(kept)


def test_ties_from_cells_are_those_from_rows() -> None:
    cells, _ = studio(5)

    def rows(chosen: Flags | None) -> Floats:
        table = cells.rows(chosen)
        return np.column_stack([table[:, :3], table[:, 0] - table[:, 1], np.zeros(len(table)), table[:, -1]])

    mean, products = cell_moments(rows(None).T.copy(), cells.n)
    tied = Cells(
        cells.rider, cells.knee, cells.visit, cells.n, mean[:, :-1], mean[:, -1], products, np.arange(len(cells.n)), rows
    )
    terms = Terms.of(tied, ("a", "b", "count", "less", "none"), np.zeros(len(cells.n), dtype=np.int64), np.arange(5)[None])
    found = within_ties(tied, terms)
    assert found == not_estimable(rows(None)[:, :5], terms.names, np.repeat(np.arange(len(cells.n)), cells.n))
    assert found == {"none": (), "a": ("b", "less"), "b": ("a", "less"), "less": ("a", "b")}
    free = np.array([True, True, True, False, False])
    assert within_ties(tied, terms.kept(free)) == {}
    with pytest.raises(StatisticsError, match="less"):
        fit_within_cells(tied, terms.kept(np.array([True, True, True, True, False])))


@pytest.mark.parametrize("seed", range(4))
def test_ties_within_one_level_are_those_from_all_rows(seed: int) -> None:
    cells, _ = studio(seed)
    rng = np.random.default_rng(seed)
    level, cell = rng.choice(3, len(cells.n), p=[0.6, 0.39, 0.01]), np.repeat(np.arange(len(cells.n)), cells.n)
    table = cells.rows(None)
    table[level[cell] == 1, 1] = -2 * table[level[cell] == 1, 0]  # always changed together
    table[level[cell] == 2, 1] = 1.0  # never changed

    def rows(chosen: Flags | None) -> Floats:
        return table.copy() if chosen is None else table[chosen[cell]]

    mean, products = cell_moments(table.T.copy(), cells.n)
    tied = Cells(
        cells.rider, cells.knee, cells.visit, cells.n, mean[:, :-1], mean[:, -1], products, np.arange(len(cells.n)), rows
    )
    names = ("a0", "b0", "a1", "b1", "a2", "b2", "count")
    terms = Terms.of(tied, names, level, np.array([[0, 1, 6], [2, 3, 6], [4, 5, 6]]))
    found = within_ties(tied, terms)
    assert found == not_estimable(row_design(tied, terms)[0], names, cell)
    assert found == {"b2": (), "a1": ("b1",), "b1": ("a1",)}


@pytest.mark.parametrize("own_block_from", [1, 40, 100_000])
def test_blocks_hold_each_rider_and_cell_once(monkeypatch: pytest.MonkeyPatch, own_block_from: int) -> None:
    cells, exam = studio(7)
    monkeypatch.setattr(blocks, "_RIDERS_OF_A_BLOCK", own_block_from)
    pooled, _ = by_level(cells, exam)
    division = pooled.levels.division
    assert (len(division.blocks) == 1) == (own_block_from > N_RIDERS)
    riders = np.concatenate([block.riders for block in division.blocks])
    assert np.array_equal(np.sort(riders), np.unique(division.riders.rider))
    places = np.concatenate([block.cells for block in division.blocks])
    assert np.array_equal(np.sort(places), np.arange(len(cells.n)))
    for block in division.blocks:
        assert np.array_equal(division.riders.rider[block.cells], np.repeat(block.riders, np.diff(block.starts)))


def test_riders_in_blocks_of_their_own_columns_tell_what_they_tell_in_one(monkeypatch: pytest.MonkeyPatch) -> None:
    cells, exam = studio(8)
    fits = []
    for own_block_from in (100_000, 30):
        monkeypatch.setattr(blocks, "_RIDERS_OF_A_BLOCK", own_block_from)
        pooled, within = by_level(cells, exam)
        fits.append((fit_mixed_cells(cells, pooled, np.ones(len(pooled.names), dtype=bool)), fit_within_cells(cells, within)))
    for one, many in zip(*fits, strict=True):
        error = np.sqrt(np.diag(one.robust_covariance))
        assert many.estimate == pytest.approx(one.estimate, abs=1e-6 * error.min())
        assert many.robust_covariance == pytest.approx(one.robust_covariance, abs=1e-6 * error.min() ** 2)
        assert many.influence == pytest.approx(one.influence, abs=1e-6 * np.abs(one.influence).max())
        assert many.df == pytest.approx(one.df, rel=1e-4)
