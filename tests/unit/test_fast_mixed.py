"""The pooled model at speed: what it refuses, what must not change its answer, and its parts against what they stand for."""

import numpy as np
import pytest
from numpy.typing import NDArray

from shared.errors import NoConvergenceError, NotEstimableError, TooFewError
from shared.statistics import fast_mixed, reml_profile
from shared.statistics.cluster_robust import cr2_of_rows
from shared.statistics.fast_mixed import fit_mixed_model_fast
from shared.statistics.pair_criterion import INTERCEPTS, PairCriterion
from shared.statistics.ratio_search import best_ratios
from shared.statistics.reml_profile import class_matrices
from shared.statistics.rider_blocks import indicator, ordered, rider_blocks, runs_of, told_apart
from shared.statistics.rider_sandwich import cr2_at_speed
from shared.statistics.small_matrices import inverse_and_logdet
from shared.statistics.whitening import whitening_offsets

RNG = np.random.default_rng(29)
N = 480
RIDER = np.repeat(np.arange(40), 12)
VISIT = np.repeat(np.arange(80), 6)
SIDE = np.tile(np.repeat([0, 1], 3), 80)
KNEE = 2 * RIDER + SIDE
CAPTURE = 3 * VISIT + np.tile([0, 1, 2], 160)
KEPT = RNG.random(N) < 0.9
DOSE = RNG.integers(0, 4, N).astype(float)
X = np.column_stack([np.ones(N), DOSE, RNG.normal(size=40)[RIDER]])
TERMS = ("one", "dose", "arch")
Y = (
    X @ [1.0, 0.5, -0.3]
    + 1.2 * RNG.normal(size=40)[RIDER]
    + RNG.normal(size=80)[KNEE]
    + 0.5 * RNG.normal(size=80)[VISIT]
    + 0.4 * RNG.normal(size=240)[CAPTURE]
    + 0.6 * RNG.normal(size=N)
)
RIDER, VISIT, SIDE, KNEE, CAPTURE, X, Y = (values[KEPT] for values in (RIDER, VISIT, SIDE, KNEE, CAPTURE, X, Y))
N = len(Y)
ALL = {"capture": CAPTURE, "knee_visit": 2 * VISIT + SIDE}


def test_row_order_labels_and_units_do_not_move_the_answer() -> None:
    plain = fit_mixed_model_fast(Y, X, TERMS, RIDER, KNEE, VISIT, **ALL)
    order = RNG.permutation(N)
    names = np.array([f"rider {code}" for code in RIDER])
    scale = np.array([1, 1e-3, 1e3])
    shuffled = {name: codes[order] for name, codes in ALL.items()}
    moved = fit_mixed_model_fast(1e3 * Y[order], X[order] * scale, TERMS, names[order], KNEE[order], VISIT[order], **shuffled)
    factor = np.array([1e3, 1e6, 1.0])
    assert moved.estimate == pytest.approx(plain.estimate * factor, rel=1e-8)
    assert np.diag(moved.robust_covariance) == pytest.approx(np.diag(plain.robust_covariance) * factor**2, rel=1e-7)
    assert moved.df == pytest.approx(plain.df, rel=1e-7)
    assert moved.variance_knee == pytest.approx(plain.variance_knee * 1e6, rel=1e-6)
    assert moved.variance_capture == pytest.approx(plain.variance_capture * 1e6, rel=1e-6)
    assert moved.loglik == pytest.approx(plain.loglik - (N - 3) * np.log(1e3), abs=1e-7)
    place = {name: index for index, name in enumerate(moved.riders)}
    found = moved.influence[[place[f"rider {code}"] for code in plain.riders]]
    assert found == pytest.approx(plain.influence * factor, rel=1e-5, abs=1e-9)


def test_knees_visits_and_captures_count_within_what_holds_them() -> None:
    plain = fit_mixed_model_fast(Y, X, TERMS, RIDER, KNEE, VISIT, **ALL)
    short = fit_mixed_model_fast(Y, X, TERMS, RIDER, SIDE, VISIT % 2, capture=CAPTURE % 3, knee_visit=SIDE)
    assert short.estimate == pytest.approx(plain.estimate, rel=1e-9)
    assert short.variance_knee_visit == pytest.approx(plain.variance_knee_visit, rel=1e-6)


def test_an_intercept_that_cannot_be_told_apart_has_no_variance() -> None:
    alone = fit_mixed_model_fast(Y, X, TERMS, RIDER)
    twice = fit_mixed_model_fast(Y, X, TERMS, RIDER, RIDER, RIDER, capture=np.arange(N), knee_visit=RIDER)
    assert twice.estimate == pytest.approx(alone.estimate, rel=1e-12)
    assert twice.loglik == pytest.approx(alone.loglik, abs=1e-9)
    found = (twice.variance_knee, twice.variance_visit, twice.variance_capture, twice.variance_knee_visit)
    assert found == (0.0, 0.0, 0.0, 0.0)


def test_riders_of_one_row_each_are_least_squares() -> None:
    found = fit_mixed_model_fast(Y, X, TERMS, np.arange(N))
    assert found.estimate == pytest.approx(np.linalg.lstsq(X, Y)[0], rel=1e-9)
    assert found.variance_rider == 0.0


def test_what_has_no_answer_is_refused() -> None:
    with pytest.raises(TooFewError, match="1 rider"):
        fit_mixed_model_fast(Y, X, TERMS, np.zeros(N))
    none = np.zeros(0, dtype=np.int64)
    with pytest.raises(TooFewError, match="0 captures of 0 riders"):
        fit_mixed_model_fast(Y[:0], X[:0], TERMS, none, none, none, capture=none, knee_visit=none)
    with pytest.raises(TooFewError, match="4 captures"):
        fit_mixed_model_fast(Y[:4], X[:4], TERMS, np.arange(4))
    with pytest.raises(NotEstimableError, match="shim is made up of dose"):
        fit_mixed_model_fast(Y, np.column_stack([X, 2 * X[:, 1]]), (*TERMS, "shim"), RIDER)
    with pytest.raises(NotEstimableError, match="zero throughout"):
        fit_mixed_model_fast(Y, np.column_stack([X, np.zeros(N)]), (*TERMS, "shim"), RIDER)
    for hole in (np.where(RIDER == 3, np.nan, Y), np.where(RIDER == 3, np.inf, Y)):
        with pytest.raises(NotEstimableError, match="missing"):
            fit_mixed_model_fast(hole, X, TERMS, RIDER)
    with pytest.raises(NoConvergenceError, match="without a rest"):
        fit_mixed_model_fast(X @ [1.0, 2.0, 3.0], X, TERMS, RIDER)
    with pytest.raises(ValueError, match="needs knee and visit"):
        fit_mixed_model_fast(Y, X, TERMS, RIDER, KNEE, knee_visit=ALL["knee_visit"])


def test_columns_that_nearly_say_the_same_are_still_told_apart() -> None:
    near = X[:, 1] + 1e-6 * np.random.default_rng(3).normal(size=N)
    found = fit_mixed_model_fast(Y, np.column_stack([X, near]), (*TERMS, "near"), RIDER, KNEE, VISIT)
    turned = fit_mixed_model_fast(Y, np.column_stack([X, (near - X[:, 1]) * 1e6]), (*TERMS, "rest"), RIDER, KNEE, VISIT)
    assert found.loglik - turned.loglik == pytest.approx(np.log(1e6), abs=1e-6)
    assert found.estimate[3] == pytest.approx(turned.estimate[3] * 1e6, rel=1e-6)
    assert found.estimate[1] + found.estimate[3] == pytest.approx(turned.estimate[1], rel=1e-4)


@pytest.mark.parametrize("threshold", [0.0, 1e9])
def test_cross_products_and_rows_give_the_same(threshold: float, monkeypatch: pytest.MonkeyPatch) -> None:
    plain = fit_mixed_model_fast(Y, X, TERMS, RIDER, KNEE, VISIT, **ALL)
    monkeypatch.setattr(reml_profile, "_CROSS_PRODUCTS_FROM", threshold)
    found = fit_mixed_model_fast(Y, X, TERMS, RIDER, KNEE, VISIT, **ALL)
    assert found.estimate == pytest.approx(plain.estimate, rel=1e-9)
    assert found.loglik == pytest.approx(plain.loglik, abs=1e-9)
    assert found.variance_visit == pytest.approx(plain.variance_visit, rel=1e-6)


@pytest.mark.parametrize(
    "names", [("rider",), ("rider", "knee"), ("rider", "visit", "capture"), ("rider", "knee", "visit", *ALL)]
)
def test_the_gradient_is_the_slope_of_the_criterion(names: tuple[str, ...]) -> None:
    runs = runs_of(RIDER, KNEE, VISIT, CAPTURE, ALL["knee_visit"])
    blocks = rider_blocks(runs, names)
    basis = np.linalg.qr(np.column_stack([X, Y]))[0] * 20
    n_cells = len(blocks.levels[0].unit_class) * blocks.n_slots
    sums = (indicator(blocks.cell, n_cells) @ basis).reshape(-1, blocks.n_slots, 4)
    read = reml_profile.batches(blocks, sums)
    pairs = [("rider", "knee")]
    pairs = [("visit", "knee_visit"), *pairs] if "visit" in names else pairs
    pairs = [("capture", ""), *pairs] if "capture" in names else pairs
    order = [name for pair in pairs for name in pair if name in names]

    def at(ratios: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        own = dict(zip(order, ratios, strict=True))
        layout = [(own.get(shared), own.get(each)) for shared, each in pairs]
        return reml_profile.criterion(blocks, read, basis.T @ basis, layout, N)[:2]

    here = np.linspace(0.3, 0.7, len(order))
    slope = [(at(here + step)[0] - at(here - step)[0]) / 2e-5 for step in 1e-5 * np.eye(len(order))]
    assert at(here)[1] == pytest.approx(slope, rel=1e-5, abs=1e-5)


@pytest.mark.parametrize("names", [("rider", "visit", "knee"), ("visit", "knee")])
def test_the_closed_form_by_visits_is_the_criterion_by_classes(names: tuple[str, ...]) -> None:
    runs = runs_of(RIDER, KNEE, VISIT, None, None)
    blocks, given = rider_blocks(runs, names), frozenset(names)
    basis = np.linalg.qr(np.column_stack([X, Y]))[0] * 20
    n_cells = len(blocks.levels[0].unit_class) * blocks.n_slots
    sums = (indicator(blocks.cell, n_cells) @ basis).reshape(-1, blocks.n_slots, 4)
    layout = fast_mixed.layout_of(blocks, given)
    places = [INTERCEPTS.index(name) for pair in layout for name in pair if name]
    assert PairCriterion.serves(blocks, given)
    found = PairCriterion(blocks, sums, basis.T @ basis, N).of(places)
    expected = fast_mixed.by_classes(blocks, sums, basis.T @ basis, layout, N)
    for here in (np.linspace(0.3, 0.9, len(names)), np.zeros(len(names))):
        for one, other in zip(found(here), expected(here), strict=True):
            assert one == pytest.approx(other, rel=1e-10, abs=1e-10)


def test_three_slots_a_rider_whitened_have_the_covariance_inverted() -> None:
    rng = np.random.default_rng(5)
    rider = np.repeat(np.arange(12), 15)
    knee = 3 * rider + rng.integers(0, 3, 180)
    visit = 2 * rider + rng.integers(0, 2, 180)
    capture = 4 * visit + rng.integers(0, 4, 180)
    x = rng.normal(size=(180, 4))
    runs = runs_of(rider, knee, visit, capture, visit * 100 + knee)
    assert told_apart(runs) == {"rider", "knee", "visit", "capture", "knee_visit"}
    blocks = rider_blocks(runs, told_apart(runs))
    sums = (indicator(blocks.cell, len(blocks.levels[0].unit_class) * 3) @ x).reshape(-1, 3, 4)
    ratios = [(0.4, None), (0.3, 0.2), (1.5, 0.7)]
    white = x - whitening_offsets(blocks, sums, ratios).reshape(-1, 4)[blocks.cell]
    groups = ((capture, 0.4), (visit, 0.3), (visit * 100 + knee, 0.2), (rider, 1.5), (knee, 0.7))
    variance = np.eye(180) + sum(ratio * (own[:, None] == own[None, :]) for own, ratio in groups)
    assert white.T @ white == pytest.approx(x.T @ np.linalg.solve(variance, x), rel=1e-9, abs=1e-9)
    logdet = sum(level.logdet for level in class_matrices(blocks.levels, ratios, 3))
    assert logdet == pytest.approx(np.linalg.slogdet(variance)[1])


def test_riders_built_alike_are_one_class() -> None:
    # Riders 0 and 2: two visits of two and one rows, in either order; rider 1: one visit of three.
    rider = np.array([0, 0, 0, 1, 1, 1, 2, 2, 2])
    visit = np.array([0, 0, 1, 2, 2, 2, 3, 4, 4])
    visits, riders = rider_blocks(runs_of(rider, None, visit, None, None), {"rider", "visit"}).levels
    assert sorted(visits.composition.toarray().ravel()) == [1, 2, 3]
    assert riders.unit_class[0] == riders.unit_class[2] != riders.unit_class[1]
    assert sorted(riders.class_size) == [1, 2]
    assert riders.composition.sum() == 3


def test_codes_far_apart_are_ordered_too() -> None:
    codes = np.array([7, 10**15, -3, 7])
    found, values = ordered(codes)
    assert list(found) == [1, 2, 0, 1]
    assert list(values) == [-3, 7, 10**15]


def test_inverse_and_logdet_of_small_matrices() -> None:
    for k in (1, 2, 3):
        root = np.random.default_rng(k).normal(size=(6, k, k))
        stack = np.moveaxis(root @ root.transpose(0, 2, 1) + np.eye(k), 0, -1)
        inverse, logdet = inverse_and_logdet(stack)
        for index in range(6):
            assert inverse[..., index] @ stack[..., index] == pytest.approx(np.eye(k), abs=1e-12)
            assert logdet[index] == pytest.approx(np.linalg.slogdet(stack[..., index])[1])


def test_many_riders_get_nearly_the_same_sandwich() -> None:
    rng = np.random.default_rng(7)
    rider = rng.integers(0, 400, 5000)
    rider = np.unique(rider, return_inverse=True)[1]
    rare = (rider < 12) & (rng.random(5000) < 0.5)
    x = np.column_stack([np.ones(5000), rng.random(5000) < 0.3, rng.normal(size=400)[rider], rare])
    residual = rng.normal(size=5000) * (1 + 0.5 * rng.normal(size=400)[rider])
    bread = np.linalg.inv(x.T @ x)
    exact = cr2_of_rows(x, residual, rider, bread)
    quick = cr2_at_speed(x, residual, rider, bread, joint_up_to=0)
    assert np.diag(quick.covariance) == pytest.approx(np.diag(exact.covariance), rel=1e-5)
    assert quick.influence == pytest.approx(exact.influence, rel=1e-3, abs=1e-8)
    assert cr2_at_speed(x, residual, rider, bread).df == pytest.approx(exact.df, rel=1e-4)
    # What is left out ties riders of little leverage to one another: at most about one degree of freedom.
    assert (np.abs(quick.df - exact.df) < 1.5).all()
    assert exact.df[3] < 15


def test_a_term_of_one_rider_has_no_degrees_of_freedom_at_speed_either() -> None:
    rng = np.random.default_rng(8)
    rider = np.repeat(np.arange(100), 6)
    x = np.column_stack([np.ones(600), rng.normal(size=600), (rider == 3) & (np.arange(600) % 2 == 0), rider == 5])
    residual = rng.normal(size=600)
    residual -= x @ np.linalg.lstsq(x.astype(float), residual)[0]
    bread = np.linalg.inv(x.T.astype(float) @ x)
    exact = cr2_of_rows(x.astype(float), residual, rider, bread)
    quick = cr2_at_speed(x.astype(float), residual, rider, bread, joint_up_to=0)
    assert (quick.df == 0).tolist() == (exact.df == 0).tolist()
    assert quick.df[3] == 0


def test_a_search_without_a_lowest_point_is_refused() -> None:
    """Ever lower as the ratio grows: the rows of a group are all the same."""

    def falling(ratios: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        return -float(np.log1p(ratios).sum()), -1 / (1 + ratios)

    with pytest.raises(NoConvergenceError, match="no end"):
        best_ratios(falling, np.array([3.0]), "no end")


def test_a_slope_that_leads_nowhere_is_no_answer() -> None:
    """A gradient at odds with its criterion: every step rises."""

    def rising(ratios: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        return float(ratios.sum()), -ratios

    with pytest.raises(NoConvergenceError, match="nowhere"):
        best_ratios(rising, np.array([3.0, 2.0]), "nowhere")


def test_a_criterion_that_bends_down_at_the_start_is_followed_to_its_bottom() -> None:
    def waved(ratios: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        theta = np.log1p(3 * ratios)
        return float(-np.exp(-((theta - 2.5) ** 2) * 2).sum()), 4 * (theta - 2.5) * np.exp(-((theta - 2.5) ** 2) * 2) * 3 / (
            1 + 3 * ratios
        )

    assert best_ratios(waved, np.array([3.0]), "no") == pytest.approx([(np.exp(2.5) - 1) / 3], rel=1e-6)
