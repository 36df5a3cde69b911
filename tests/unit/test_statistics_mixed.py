"""The pooled model: what it refuses, what must not change its answer, and its parts against what they stand for."""

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.errors import NoConvergenceError, NotEstimableError, TooFewError
from shared.statistics.mixed.blocks import divided
from shared.statistics.mixed.lowest import Seen, lowest
from shared.statistics.mixed.reml import Criterion, Kinds, Means, best_ratios
from shared.statistics.mixed.riders import grouped
from tests.rows_as_cells import cells_of, fit_rows
from tests.statsmodels_mixed import fit_mixed_model

RNG = np.random.default_rng(29)
N = 480
RIDER = np.repeat(np.arange(40), 12)
VISIT = np.repeat(np.arange(80), 6)
SIDE = np.tile(np.repeat([0, 1], 3), 80)
KNEE = 2 * RIDER + SIDE
KEPT = RNG.random(N) < 0.9
DOSE = RNG.integers(0, 4, N).astype(float)
X = np.column_stack([np.ones(N), DOSE, RNG.normal(size=40)[RIDER]])
TERMS = ("intercept", "dose", "arch")
Y = (
    X @ [1.0, 0.5, -0.3]
    + 1.2 * RNG.normal(size=40)[RIDER]
    + RNG.normal(size=80)[KNEE]
    + 0.5 * RNG.normal(size=80)[VISIT]
    + 0.6 * RNG.normal(size=N)
)
RIDER, VISIT, SIDE, KNEE, X, Y = (values[KEPT] for values in (RIDER, VISIT, SIDE, KNEE, X, Y))
N = len(Y)


def test_row_order_labels_and_units_do_not_move_the_answer() -> None:
    plain = fit_rows(Y, X, TERMS, RIDER, KNEE, VISIT)
    order = RNG.permutation(N)
    names = np.array([f"rider {code}" for code in RIDER])
    scale = np.array([1, 1e-3, 1e3])
    moved = fit_rows(1e3 * Y[order], X[order] * scale, TERMS, names[order], KNEE[order], VISIT[order])
    factor = np.array([1e3, 1e6, 1.0])
    assert moved.estimate == pytest.approx(plain.estimate * factor, rel=1e-7)
    assert np.diag(moved.robust_covariance) == pytest.approx(np.diag(plain.robust_covariance) * factor**2, rel=1e-7)
    assert moved.df == pytest.approx(plain.df, rel=1e-6)
    assert moved.variance_knee == pytest.approx(plain.variance_knee * 1e6, rel=1e-6)
    assert moved.loglik == pytest.approx(plain.loglik - (N - 3) * np.log(1e3), abs=1e-7)
    place = {name: index for index, name in enumerate(moved.riders)}
    found = moved.influence[[place[f"rider {code}"] for code in plain.riders]]
    assert found == pytest.approx(plain.influence * factor, rel=1e-5, abs=1e-9)


def test_knees_and_visits_count_within_their_rider() -> None:
    plain = fit_rows(Y, X, TERMS, RIDER, KNEE, VISIT)
    short = fit_rows(Y, X, TERMS, RIDER, SIDE, VISIT % 2)
    assert short.estimate == pytest.approx(plain.estimate, rel=1e-9)
    assert short.variance_knee == pytest.approx(plain.variance_knee, rel=1e-6)


def test_an_intercept_that_cannot_be_told_apart_has_no_variance() -> None:
    alone = fit_rows(Y, X, TERMS, RIDER)
    twice = fit_rows(Y, X, TERMS, RIDER, RIDER, RIDER)
    assert twice.estimate == pytest.approx(alone.estimate, rel=1e-12)
    assert twice.loglik == pytest.approx(alone.loglik, abs=1e-9)
    assert (twice.variance_knee, twice.variance_visit) == (0.0, 0.0)
    rows = fit_rows(Y, X, TERMS, RIDER, np.arange(N), RIDER)
    assert rows.estimate == pytest.approx(alone.estimate, rel=1e-8)
    assert rows.variance_knee == 0.0


def test_riders_of_one_row_each_are_least_squares() -> None:
    found = fit_rows(Y, X, TERMS, np.arange(N))
    assert found.estimate == pytest.approx(np.linalg.lstsq(X, Y)[0], rel=1e-9)
    assert found.variance_rider == 0.0


def test_what_has_no_answer_is_refused() -> None:
    with pytest.raises(TooFewError, match="of 1 rider for"):
        fit_rows(Y, X, TERMS, np.zeros(N))
    with pytest.raises(TooFewError, match="3 captures of 3 riders"):
        fit_rows(Y[:3], X[:3], TERMS, np.arange(3))
    for hole in (np.where(RIDER == 3, np.nan, Y), np.where(RIDER == 3, np.inf, Y)):
        with pytest.raises(NotEstimableError, match="missing"), np.errstate(invalid="ignore"):
            fit_rows(hole, X, TERMS, RIDER)
    with pytest.raises(NoConvergenceError, match="without a rest"):
        fit_rows(X @ [1.0, 2.0, 3.0], X, TERMS, RIDER)


def test_a_column_that_says_nothing_new_is_left_out() -> None:
    plain = fit_rows(Y, X, TERMS, RIDER, KNEE, VISIT)
    more = fit_rows(
        Y, np.column_stack([X, 2 * X[:, 1], np.zeros(N), np.full(N, 3.0)]), (*TERMS, "a", "b", "c"), RIDER, KNEE, VISIT
    )
    assert more.terms == TERMS
    assert more.estimate == pytest.approx(plain.estimate, rel=1e-9)


def test_columns_that_nearly_say_the_same_are_still_told_apart() -> None:
    """The sum of both has the same estimate whether the second is told as it is or as what it has beyond the first."""
    rest = np.random.default_rng(3).normal(size=N)
    near = X[:, 1] + 3e-4 * rest
    found = fit_rows(Y, np.column_stack([X, near]), (*TERMS, "near"), RIDER, KNEE, VISIT)
    turned = fit_rows(Y, np.column_stack([X, 3e-4 * rest]), (*TERMS, "rest"), RIDER, KNEE, VISIT)
    assert found.loglik == pytest.approx(turned.loglik, abs=1e-5)
    assert found.estimate[3] == pytest.approx(turned.estimate[3], rel=1e-6)
    assert found.estimate[1] + found.estimate[3] == pytest.approx(turned.estimate[1], rel=1e-5)
    assert found.df[[0, 2, 3]] == pytest.approx(turned.df[[0, 2, 3]], rel=1e-6)
    assert np.diag(found.robust_covariance)[3] == pytest.approx(np.diag(turned.robust_covariance)[3], rel=1e-6)


def test_where_cross_products_cannot_tell_rows_are_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = fit_rows(Y, X, TERMS, RIDER, KNEE, VISIT)
    monkeypatch.setattr("shared.statistics.mixed.fits._NEAR", 2.0)
    found = fit_rows(Y, X, TERMS, RIDER, KNEE, VISIT)
    assert found.estimate == pytest.approx(plain.estimate, rel=1e-9)
    assert found.loglik == pytest.approx(plain.loglik, abs=1e-9)
    assert found.model_covariance == pytest.approx(plain.model_covariance, rel=1e-6)
    assert found.robust_covariance == pytest.approx(plain.robust_covariance, rel=1e-6)
    assert found.df == pytest.approx(plain.df, rel=1e-6)


def test_an_outcome_far_from_zero_loses_nothing() -> None:
    """Beside the squares of the outcome its residuals are rounding: 1e-11 of them."""
    plain, far = (fit_rows(Y + shift, X, TERMS, RIDER, KNEE, VISIT) for shift in (0.0, 1e6))
    assert far.estimate[1:] == pytest.approx(plain.estimate[1:], rel=1e-6)
    assert far.variance_residual == pytest.approx(plain.variance_residual, rel=1e-6)
    assert far.robust_covariance == pytest.approx(plain.robust_covariance, rel=1e-5, abs=1e-9)


def test_a_rider_of_three_knees_is_no_different() -> None:
    third = np.where(VISIT % 3 == 0, 2, SIDE)
    found, expected = (fit(Y, X, TERMS, RIDER, 3 * RIDER + third, VISIT) for fit in (fit_rows, fit_mixed_model))
    assert found.loglik == pytest.approx(expected.loglik, abs=1e-4)
    assert found.estimate == pytest.approx(expected.estimate, rel=1e-3, abs=1e-4)


def criterion(names: tuple[str, ...]) -> tuple[Criterion, Mapping[str, int]]:
    basis = np.linalg.qr(np.column_stack([X, Y]))[0] * 20
    cells, _ = cells_of(basis[:, -1], basis[:, :-1], TERMS, RIDER, KNEE, VISIT)
    division = divided(cells, np.zeros(len(cells.n), dtype=np.int64), 1)
    (block,) = division.blocks
    riders = replace(division.riders, names={name: division.riders.names[name] for name in names})
    columns = np.column_stack([cells.mean, cells.outcome])
    within = basis.T @ basis - columns.T @ (columns * cells.n[:, None])
    means = Means(block, columns.take(block.cells, axis=0), np.arange(4))
    return Criterion(Kinds(riders, [block]), within, [means], N - 3), riders.names


@pytest.mark.parametrize("names", [("rider",), ("rider", "knee"), ("visit", "knee"), ("rider", "knee", "visit")])
def test_the_gradient_is_the_slope_of_the_criterion(names: tuple[str, ...]) -> None:
    at, _ = criterion(names)
    here = np.linspace(0.3, 0.7, len(names))
    slope = [(at(here + step).value - at(here - step).value) / 2e-5 for step in 1e-5 * np.eye(len(names))]
    assert at(here).gradient == pytest.approx(slope, rel=1e-5, abs=1e-5)


def written_out(ratios: Mapping[str, float]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The covariance of all rows, and the columns and outcome that `criterion` is of."""
    variance = np.eye(N)
    for name, codes in (("rider", RIDER), ("knee", KNEE), ("visit", VISIT)):
        variance += ratios[name] * (codes[:, None] == codes[None, :])
    return variance, np.linalg.qr(np.column_stack([X, Y]))[0] * 20


def test_the_criterion_is_that_of_the_covariance_written_out() -> None:
    at, _ = criterion(("rider", "knee", "visit"))
    variance, basis = written_out({"rider": 0.4, "knee": 0.3, "visit": 1.5})
    found = at(np.array([0.4, 0.3, 1.5]))
    products = basis.T @ np.linalg.solve(variance, basis)
    assert found.factor @ found.factor.T == pytest.approx(products, rel=1e-9, abs=1e-9)
    sizes = np.log(np.diag(np.linalg.cholesky(products)))
    expected = np.linalg.slogdet(variance)[1] / 2 + sizes[:3].sum() + (N - 3) * sizes[3]
    assert found.value == pytest.approx(expected, rel=1e-12)


def test_the_curvature_is_that_of_the_criterion_but_for_what_it_says_it_lacks() -> None:
    at, _ = criterion(("rider", "knee", "visit"))
    here = np.array([0.4, 0.3, 1.5])
    variance, basis = written_out({"rider": 0.4, "knee": 0.3, "visit": 1.5})
    whitened = np.linalg.solve(variance, basis)
    products = basis.T @ whitened
    bread, estimate = np.linalg.inv(products[:3, :3]), np.linalg.solve(products[:3, :3], products[:3, 3])
    contrast = np.append(-estimate, 1.0)
    shared = [whitened.T @ (codes[:, None] == codes[None, :]) @ whitened for codes in (RIDER, KNEE, VISIT)]
    lacks = np.array(
        [
            [
                np.trace(bread @ one[:3, :3] @ bread @ other[:3, :3]) / 2
                + (N - 3) / (contrast @ products @ contrast) * (one @ contrast)[:3] @ bread @ (other @ contrast)[:3]
                for other in shared
            ]
            for one in shared
        ]
    )
    turning = np.array([(at(here + step).gradient - at(here - step).gradient) / 2e-5 for step in 1e-5 * np.eye(3)])
    assert at(here).curvature == pytest.approx(turning + lacks, rel=1e-5, abs=1e-4)


def test_riders_built_alike_are_one_kind_whatever_the_order_of_their_visits() -> None:
    # Riders 0 and 2: two visits of two and one rows, in either order; rider 1: one visit of three.
    rider, visit, n = np.array([0, 0, 1, 2, 2]), np.array([0, 1, 2, 3, 4]), np.array([2, 1, 3, 1, 2])
    found = grouped(rider, rider, visit, n)
    assert dict(found.names) == {"rider": 3, "visit": 5}
    one, two = found.shapes
    assert (list(one.rider), sorted(two.rider), list(two.riders_of_kind)) == ([1], [0, 2], [2])
    assert sorted(n[two.cells[0]]) == sorted(n[two.cells[1]]) == [1, 2]
    assert list(n[two.cells[0]]) == list(n[two.cells[1]]) == list(two.n[0])


Curve = Callable[[NDArray[np.float64]], tuple[float, NDArray[np.float64], NDArray[np.float64]]]


def lowest_of(curve: Curve) -> NDArray[np.float64]:
    """Searched as the criterion is."""
    return lowest(lambda place: Seen(*curve(place), np.eye(1)), np.array([1.0]), np.array([18.0]), "no end")[0]


@pytest.mark.parametrize("bend", [-1.0, 0.0, 1.0])
def test_a_search_without_a_lowest_point_is_refused(bend: float) -> None:
    """Ever lower as the ratio grows: the rows of a group are all the same."""
    with pytest.raises(NoConvergenceError, match="no end"):
        lowest_of(lambda place: (-float(place.sum()), -np.ones(1), np.array([[bend]])))


@pytest.mark.parametrize("bend", [-1.0, 0.0, 1.0])
def test_a_slope_that_leads_nowhere_is_no_answer(bend: float) -> None:
    """A gradient at odds with its criterion: every step rises."""
    with pytest.raises(NoConvergenceError, match="no end"):
        lowest_of(lambda place: (float(place.sum()), -np.ones(1), np.array([[bend]])))


@pytest.mark.parametrize("bend", [0.0, 1.0])
def test_a_place_at_the_boundary_is_exactly_zero(bend: float) -> None:
    assert lowest_of(lambda place: (float(place.sum()), np.ones(1), np.array([[bend]]))).tolist() == [0.0]


@pytest.mark.parametrize("told", [1.0, 0.5, 0.0])
def test_a_criterion_that_bends_down_at_the_start_is_followed_to_its_bottom(told: float) -> None:
    """told: the share of the curvature that the criterion tells; what it lacks is learned on the way."""

    def waved(place: NDArray[np.float64]) -> tuple[float, NDArray[np.float64], NDArray[np.float64]]:
        off = place - 2.5
        bump = np.exp(-(off**2) * 2)
        return float(-bump.sum()), 4 * off * bump, told * np.array([(4 - 16 * off**2) * bump])

    assert lowest_of(waved) == pytest.approx([2.5], abs=1e-6)


def test_who_is_put_at_the_boundary_leaves_the_others_their_own_lowest_place() -> None:
    """Two that hang together: without the first the second lies at 0.3, and the first rises from 0."""
    bend, lowest_place = np.array([[1.0, 0.8], [0.8, 1.0]]), np.array([-1.0, 1.1])

    def bowl(place: NDArray[np.float64]) -> Seen:
        off = place - lowest_place
        return Seen(float(off @ bend @ off / 2), bend @ off, bend, np.eye(1))

    place, _ = lowest(bowl, np.array([1.0, 1.0]), np.array([18.0, 18.0]), "no end")
    assert place[0] == 0.0
    assert place[1] == pytest.approx(0.3, abs=1e-6)


def test_the_search_ends_at_the_same_place_from_anywhere() -> None:
    at, groups = criterion(("rider", "knee", "visit"))
    plain, least, _ = best_ratios(at, groups, "no")
    for begun in (0.0, 0.1, 30.0):
        found, value, _ = best_ratios(at, groups, "no", dict.fromkeys(("rider", "knee", "visit"), begun))
        assert value == pytest.approx(least, abs=1e-9)
        assert list(found.values()) == pytest.approx(list(plain.values()), rel=1e-5, abs=1e-7)
