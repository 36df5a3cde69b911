"""The names of fitters, where the studio records them; read anew each time, and never part of an answer."""

from dashboard.questions.coaching import SQL
from shared.warehouse import Warehouse


def fitter_names(warehouse: Warehouse) -> dict[str, str]:
    """The name of each fitter by id; one without a name is left out. Whoever asks must know that the reader may see names."""
    return {row["fitter_id"]: row["fitter_name"] for row in warehouse.rows(SQL / "fitter_names.sql")}
