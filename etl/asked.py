"""Asks about what the data make doubtful and no program can know: signs, sides, units and ids. Asked, never guessed.

The answer is kept in the mapping: a line that reads the column otherwise, or one of [confirmed].
"""

from collections.abc import Iterable
from pathlib import Path

from etl.asked_lines import Lines, Question, is_kept, kept, key_of, keys_of
from etl.asked_signs import Signs
from etl.asked_values import SQL, clashes, near_ids, unit_questions
from etl.mapping import Mapping
from shared.rig.findings import RigFinding
from shared.rig.watch import rig_findings
from shared.settings import Settings
from shared.warehouse import Warehouse, open_reading


def asked_again(path: Path, settings: Settings, mappings: Iterable[Mapping]) -> tuple[Question, ...]:
    """What is asked of a warehouse file whose load is known; what that load alone brought up (clashes) is not asked again."""
    warehouse = open_reading(path)
    try:
        return questions(warehouse, settings, mappings, None, rig_findings(warehouse, settings))
    finally:
        warehouse.close()


def questions(
    warehouse: Warehouse, settings: Settings, mappings: Iterable[Mapping], load_id: int | None, rig: Iterable[RigFinding]
) -> tuple[Question, ...]:
    """What is asked of a warehouse as it stands after the load `load_id`, whose files were read by `mappings`.

    `rig`: what was found of the rigs: that left and right are exchanged in all captures is asked from there.
    """
    mappings = tuple(mappings)
    lines, confirmed = Lines(mappings), keys_of(mappings)
    of_signs = tuple(_signs(warehouse, settings, lines, confirmed))
    mirrored = {question.studio for question in of_signs if question.kind == "mirrored"}
    studios = _studios(warehouse)
    return (
        *of_signs,
        *(
            question
            for question in _exchanged(rig, lines, confirmed, len(studios) > 1)
            # Knees of which one is mirrored seem to change places.
            if not mirrored & {"", question.studio}
        ),
        *unit_questions(warehouse, settings, lines, confirmed),
        *near_ids(warehouse, lines, confirmed),
        *(clashes(warehouse, load_id, confirmed) if load_id is not None else ()),
    )


def _studios(warehouse: Warehouse) -> dict[int, str]:
    rows = warehouse.rows("SELECT DISTINCT studio_no, studio_id FROM mart.fits ORDER BY studio_no")
    return {row["studio_no"]: row["studio_id"] for row in rows}


def _signs(warehouse: Warehouse, settings: Settings, lines: Lines, confirmed: frozenset[str]) -> Iterable[Question]:
    """Of all studios together, which know more, then of each what is not asked of all."""
    rows = warehouse.arrays(SQL / "riders.sql")
    each = []
    for number, name in _studios(warehouse).items():
        here = {column: values[rows["studio_no"] == number] for column, values in rows.items()}
        each.append(Signs(here, name, settings.warnings, lines, confirmed))
    together = Signs(rows, "", settings.warnings, lines, confirmed)
    whole = [found for found in together.questions() if not any(studio.leans_with(found) for studio in each)]
    yield from whole
    if len(each) > 1:
        asked = {(found.kind, found.column) for found in whole}
        yield from (found for studio in each for found in studio.questions() if (found.kind, found.column) not in asked)


def _exchanged(rig: Iterable[RigFinding], lines: Lines, confirmed: frozenset[str], are_several: bool) -> Iterable[Question]:
    for found in rig:
        studio = found.studio if are_several else ""
        if found.share_is_all and found.since is None and not is_kept(confirmed, "side exchanged", studio):
            words = (
                f"Are left and right exchanged in knee_captures{f' of studio {studio}' if studio else ''}? What was changed at "
                f"one foot moved the other knee, in {found.estimate:.0%} of captures ({found.low:.0%} to {found.high:.0%}; "
                f"{found.n_fits:,} fits)."
            )
            mend = lines.with_sides_exchanged("knee_captures")
            yield Question("exchanged", "knee_captures", "side", studio, words, mend, kept(key_of("side exchanged", studio)))
