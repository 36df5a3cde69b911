"""How much script the first view takes on the wire: bytes are no seconds, and may be held."""

from tests.bench.first_view import LIMIT_MB, script_weights


def test_scripts_keep_to_their_weight_and_the_large_ones_are_absent() -> None:
    weights = script_weights()
    assert sum(weights.values()) < LIMIT_MB * 1e6
    names = " ".join(weights)
    assert "plotly-cartesian" in names
    assert "plotly.min" not in names and "ag_grid" not in names and "aggrid" not in names
