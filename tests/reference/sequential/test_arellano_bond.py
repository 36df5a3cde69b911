"""Two-step GMM, Sargan's statistic and m2 on the employment panel of Arellano & Bond 1991, Rev Econ Stud 58:277.

Published: table 4, column (b), difference GMM in two steps; standard errors with Windmeijer's correction, by R plm 2.6-2
`pgmm(effect = "twoways", model = "twosteps")`. See SOURCE.md.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from shared.statistics.sequential.gmm import Gmm, persistence, two_step

# Log employment of one and two years before, log wage of this year and the last, log capital, log output of this year and the
# last.
ESTIMATE = [0.474151, -0.052967, -0.513205, 0.224640, 0.292723, 0.609775, -0.446373]
ERRORS = [0.185398, 0.051749, 0.145565, 0.141950, 0.062627, 0.156263, 0.217302]
FIRST, LAST = 1976, 1984


@pytest.fixture(scope="module")
def panel() -> dict[str, np.ndarray]:
    """Differenced equations of each firm and year with what they need, and their instruments."""
    table = pd.read_csv(Path(__file__).with_name("empl_uk.csv")).sort_values(["firm", "year"])
    logs = {name: np.log(table[name]) for name in ("emp", "wage", "capital", "output")}
    wide = {name: table.assign(v=column).pivot(index="firm", columns="year", values="v") for name, column in logs.items()}
    years = list(range(FIRST + 3, LAST + 1))
    xs, zs, ys, firms, times = [], [], [], [], []
    places = {(at, lag): None for at in years for lag in range(FIRST, at - 1)}
    places = {key: number for number, key in enumerate(places)}
    for firm in wide["emp"].index:
        own = {name: column.loc[firm] for name, column in wide.items()}
        step = {name: column.diff() for name, column in own.items()}
        for at in years:
            row = [step["emp"][at - 1], step["emp"][at - 2], step["wage"][at], step["wage"][at - 1], step["capital"][at]]
            row += [step["output"][at], step["output"][at - 1]]
            if np.isnan(row).any() or np.isnan(step["emp"][at]):
                continue
            year = [float(at == other) for other in years]
            instruments = np.zeros(len(places))
            for lag in range(FIRST, at - 1):
                instruments[places[at, lag]] = np.nan_to_num(own["emp"][lag])
            xs.append([*row, *year])
            zs.append([*instruments, *row[2:], *year])
            ys.append(step["emp"][at])
            firms.append(firm)
            times.append(at)
    group = pd.factorize(np.array(firms))[0]
    return {"x": np.array(xs), "z": np.array(zs), "y": np.array(ys), "group": group, "year": np.array(times)}


def weight(panel: dict[str, np.ndarray]) -> np.ndarray:
    """(Z'HZ)^-1: a difference has twice a year's noise, and shares it with the next one by minus one."""
    z, group, year = panel["z"], panel["group"], panel["year"]
    apart = np.abs(year[:, None] - year[None, :])
    h = np.where(group[:, None] == group[None, :], np.select([apart == 0, apart == 1], [2.0, -1.0], 0.0), 0.0)
    return np.linalg.inv(z.T @ h @ z)


@pytest.fixture(scope="module")
def fit(panel: dict[str, np.ndarray]) -> Gmm:
    return two_step(panel["x"], panel["z"], panel["y"], panel["group"], weight(panel))


def test_the_published_two_step_estimates(fit: Gmm) -> None:
    np.testing.assert_allclose(fit.estimate[:7], ESTIMATE, atol=6e-7)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance))[:7], ERRORS, atol=6e-7)


def test_the_published_over_identification(fit: Gmm) -> None:
    assert fit.j_df == 25
    assert fit.j == pytest.approx(30.112, abs=6e-4)
    assert fit.j_p_value == pytest.approx(0.2201, abs=6e-5)


def test_the_published_persistence(panel: dict[str, np.ndarray], fit: Gmm) -> None:
    residual, x, group = fit.residual, panel["x"], panel["group"]
    places = {(firm, year): at for at, (firm, year) in enumerate(zip(group, panel["year"], strict=True))}
    pairs = [(at, places[firm, year - 2]) for (firm, year), at in places.items() if (firm, year - 2) in places]
    now, before = np.array(pairs).T
    products = np.bincount(group[now], residual[now] * residual[before], int(group.max()) + 1)
    m2, p_value = persistence(products, -(residual[before] @ x[now]), fit.influence, fit.covariance)
    assert m2 == pytest.approx(-0.30388, abs=6e-6)
    assert p_value == pytest.approx(0.7612, abs=6e-5)
