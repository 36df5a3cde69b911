"""Files to mend go round: over every feature of a mapping a rejected row comes back in its own columns, units, signs and words,
changes nothing as long as nobody mends it, and mended it is what the export would have been without its faults."""

import csv
import json
import os
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from dashboard.printing import write_rejects
from etl.load import load
from shared.warehouse import open_reading
from tests.spec.workbook import sheet_xml, write_workbook

TODAY = date(2026, 11, 25)
# How many exports are tried: few in the ordinary run, since each is four loads.
EXPORTS = int(os.environ.get("FITLEDGER_EXPORTS", "8"))
SEARCH = settings(max_examples=EXPORTS, deadline=None, derandomize=True, database=None, phases=[Phase.generate])
# Headings that mean something to a spreadsheet, to a file to mend, or to SQL.
ODD = ("Neigung °", "=tilt", "words", "Column", "-x", "reject no", 'a "b"', "a;b,c", "$path", "rule", "'kind", "Wert")
FAULTS = ("3,2°", "ca. 2,1", "-?", "=1+1", "'-3,2°", "1.234,5", "−4", "n/a, why", "-0,2 deg", "999")


@dataclass
class Export:
    """One file, perhaps with a log, of which some cells are faulty: `records` by heading, sound and as exported."""

    mapping: str
    form: str
    sound: list[dict[str, str]]
    faulty: list[dict[str, str]]
    log: list[dict[str, str]] = field(default_factory=list)
    faulty_log: list[dict[str, str]] = field(default_factory=list)
    encoding: str = "utf-8"
    separator: str = ","
    # Two rows of headings: the first word of each stands above the others.
    is_two_rows: bool = False

    def write(self, folder: Path, *, is_sound: bool) -> Path:
        folder.mkdir()
        (folder / "mapping.toml").write_text(self.mapping, encoding="utf-8")
        self._table(folder, "rows", self.sound if is_sound else self.faulty)
        if self.log:
            self._table(folder, "changes", self.log if is_sound else self.faulty_log)
        return folder

    def _headings(self, records: list[dict[str, str]]) -> list[list[str]]:
        names = list(records[0])
        if not self.is_two_rows:
            return [names]
        uppers = [name.partition(" ")[0] for name in names]
        upper = [one if no == 0 or one != uppers[no - 1] else "" for no, one in enumerate(uppers)]
        return [upper, [name.partition(" ")[2] for name in names]]

    def _table(self, folder: Path, name: str, records: list[dict[str, str]]) -> None:
        if self.form == ".jsonl":
            lines = [json.dumps(record, ensure_ascii=False) for record in records]
            (folder / f"{name}.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
        elif self.form == ".xlsx":
            cells = [*self._headings(records), *(list(row.values()) for row in records)]
            write_workbook(folder / f"{name}.xlsx", {name: sheet_xml(cells)})
        else:
            with (folder / f"{name}.csv").open("w", encoding=self.encoding, newline="") as file:
                writer = csv.writer(file, delimiter=self.separator)
                writer.writerows(self._headings(records))
                writer.writerows(list(row.values()) for row in records)


def number(draw: st.DrawFn, decimal: str, unit: str = "deg") -> str:
    numbers = ("3.2", "-3.2", "0.5", "-1", "2", "+1.25", "-0.1") if unit == "deg" else ("0.05", "-0.125", "+0.1", "-.2")
    text = draw(st.sampled_from(numbers))
    return text.replace(".", decimal)


@st.composite
def exports(draw: st.DrawFn) -> Export:
    names = draw(st.permutations(ODD))
    visit, day, no, side, tilt, sway, tilt_2, sway_2, kind, stamp, spare, own = names
    decimal, form = draw(st.sampled_from((",", "."))), draw(st.sampled_from((".csv", ".xlsx", ".jsonl")))
    encoding = draw(st.sampled_from(("utf-8", "utf-16"))) if form == ".csv" else "utf-8"
    separator = draw(st.sampled_from((",", ";", "\t"))) if form == ".csv" else ","
    is_wide = draw(st.booleans())
    flip = draw(st.sampled_from(("false", "true", '"left"', '"right"')))
    unit, length = draw(st.sampled_from(("deg", "rad"))), draw(st.sampled_from(("mm", "cm")))
    q = lambda name: json.dumps(name, ensure_ascii=False)  # noqa: E731
    codes = 'codes = { L = "left", R = "right" }'

    def measures(tilt_from: str, sway_from: str) -> str:
        return (
            f"knee_tilt_deg = {{ from = {q(tilt_from)}, unit = {q(unit)}, flip = {flip}, strip = 'grad', empty = 1.5 }}\n"
            f"knee_sway_mm = {{ from = {q(sway_from)}, unit = {q(length)} }}\n"
        )

    text = f"[form]\ndecimal = {q(decimal)}\n"
    if form == ".csv":
        text += f"encoding = {q(encoding)}\nseparator = {q(separator)}\n"
    sheets = 'sheets = "rows"' if form == ".xlsx" else f"files = {q('rows' + form)}"
    text += f'[tables.knee_captures]\n{sheets}\nwhere = {{ {q(kind)} = ["rec", "REC2"] }}\n[tables.knee_captures.columns]\n'
    text += f'session_id = {{ from = [{q(visit)}, {q(day)}, "@file"], with = "/" }}\n'
    text += f"capture_no = {{ from = {q(no)}, without_zeros = true, pattern = '^(?P<no>[0-9]+)a?$', group = 'no' }}\n"
    text += f'captured_at = {{ from = {q(stamp)}, date_forms = ["%d.%m.%y", "%d.%m.%Y %H:%M"] }}\n'
    text += "power_w = { value = 200 }\n"
    if is_wide:
        text += f'[[tables.knee_captures.each]]\nside = {{ value = "left" }}\n{measures(tilt, sway)}'
        text += f'[[tables.knee_captures.each]]\nside = {{ value = "right" }}\n{measures(tilt_2, sway_2)}'
    else:
        text += f"side = {{ from = {q(side)}, {codes} }}\n{measures(tilt, sway)}"
    sound = []
    for n in range(draw(st.integers(2, 4))):
        record = {
            visit: "V1",
            day: "d-1",
            no: draw(st.sampled_from((f"{n + 1}", f"0{n + 1}", f"{n + 1}a"))),
            side: draw(st.sampled_from("LR")),
            tilt: number(draw, decimal, unit) + draw(st.sampled_from(("", " grad"))),
            sway: number(draw, decimal).lstrip("-+"),
            tilt_2: number(draw, decimal, unit),
            sway_2: "2",
            kind: draw(st.sampled_from(("rec", "rec2", "note"))),
            stamp: "03.02.2026 09:30",
            spare: "= kept as it is",
            own: str(n),
        }
        sound.append(record)
    sound[0][kind] = "rec"
    faulty = [dict(record) for record in sound]
    for n, name in draw(
        st.sets(st.tuples(st.integers(0, len(sound) - 1), st.sampled_from((tilt, sway, tilt_2, stamp))), max_size=4)
    ):
        faulty[n][name] = draw(st.sampled_from(FAULTS))
    faulty[0][tilt] = draw(st.sampled_from(FAULTS[:4]))
    return Export(text, form, sound, faulty, encoding=encoding, separator=separator)


@st.composite
def exports_with_log(draw: st.DrawFn) -> Export:
    """Setups that follow from a log of changes, in a file of its own or between the captures."""
    decimal, form, is_apart = draw(st.sampled_from((",", "."))), draw(st.sampled_from((".csv", ".jsonl"))), draw(st.booleans())
    is_by_time, is_by_day = is_apart and draw(st.booleans()), draw(st.booleans())
    where = "" if is_apart else 'where = { what = "capture" }\n'
    log_where = f'files = "changes{form}"\n' if is_apart else 'where = { what = "change" }\n'
    text = f'[form]\ndecimal = "{decimal}"\n[tables.foot_setups]\nfiles = "rows{form}"\n{where}[tables.foot_setups.columns]\n'
    key = 'session_id = "visit"\ncapture_no = "no"\nside = "foot"\n'
    log_key = key if is_apart else key.replace('capture_no = "no"', "")
    if is_by_time:
        log_where += 'captured_at = "at"\nchanged_at = "when"\n'
        log_key = log_key.replace('capture_no = "no"', "").replace(
            'session_id = "visit"', "" if is_by_day else 'session_id = "visit"'
        )
    text += f"{key}[tables.foot_setups.log]\n{log_where}[tables.foot_setups.log.columns]\n{log_key}"
    text += 'insole_level = { from = "insole", empty = "none" }\nshims_added = { from = "more", adds = true, empty = 0 }\n'
    text += 'stance_mm = { from = "stance", unit = "cm", flip = "left", empty = 0 }\n'
    blank = {
        "what": "",
        "visit": "",
        "no": "",
        "foot": "",
        "insole": "",
        "more": "",
        "stance": "",
        "at": "",
        "when": "",
        "words": "",
    }
    rows: list[dict[str, str]] = []
    log: list[dict[str, str]] = []
    for visit in ("V1", "V2"):
        for n in (1, 2, 3):
            change = {
                **blank, "what": "change", "visit": visit, "no": str(n), "foot": "LEFT",
                "insole": draw(st.sampled_from(("", "low", "high"))), "more": draw(st.sampled_from(("", "1", "-1"))),
                "stance": number(draw, decimal, "rad").lstrip("+") if draw(st.booleans()) else "",
                "when": f"2026-03-0{visit[1]} 10:{n}0:00",
            }  # fmt: skip
            (log if is_apart else rows).append({**change, "words": f"=c{visit}{n}"})
            taken = f"2026-03-0{visit[1]} 10:{n}5:00"
            capture = {"what": "capture", "visit": visit, "no": str(n), "foot": "left", "at": taken}
            rows.append({**blank, **capture, "words": f"r{visit}{n}"})
    changed = log if is_apart else rows
    faulty = [dict(record) for record in changed]
    for n in draw(st.sets(st.integers(0, len(changed) - 1), min_size=1, max_size=2)):
        if faulty[n]["what"] == "change":
            faulty[n][draw(st.sampled_from(("more", "stance", "insole")))] = draw(st.sampled_from(FAULTS[:6]))
    if is_apart:
        return Export(text, form, rows, [dict(row) for row in rows], log, faulty)
    return Export(text, form, rows, faulty)


@st.composite
def exports_by_rider_and_time(draw: st.DrawFn) -> Export:
    """Captures whose visit is found by rider and day, whose numbers follow from their times where the mapping says so, under
    two rows of headings."""
    decimal, form, is_numbered = (
        draw(st.sampled_from((",", "."))),
        draw(st.sampled_from((".csv", ".xlsx"))),
        draw(st.booleans()),
    )
    per = draw(st.sampled_from(("session", "side")))
    where = 'sheets = "rows"' if form == ".xlsx" else 'files = "rows.csv"'
    text = f'[form]\ndecimal = "{decimal}"\nheading_rows = 2\n[tables.knee_captures]\n{where}\n[tables.knee_captures.columns]\n'
    text += (
        'session_id = { rider = "Who", date = { from = "When day", date_form = "%d.%m.%Y" }, within_days = 1 }\nside = "Knee"\n'
    )
    numbered = f'{{ from = ["When day", "When clock"], with = " ", date_form = "%d.%m.%Y %H:%M", numbered = "{per}" }}'
    text += f"capture_no = {numbered}\n" if is_numbered else 'capture_no = "No"\n'
    text += 'knee_tilt_deg = { from = "Found tilt", unit = "deg", flip = "left" }\n'
    text += 'knee_sway_mm = { from = "Found sway", unit = "cm", empty = 1 }\n'
    sound = [
        {
            "Who": who, "When day": day, "When clock": f"{9 + n}:05", "No": str(n),
            "Knee": draw(st.sampled_from(("left", "right"))), "Found tilt": number(draw, decimal),
            "Found sway": draw(st.sampled_from(("", "1"))), "Words": f"{who}{n}",
        }
        for who, day in (("R1", "02.03.2026"), ("R2", "03.03.2026"))
        for n in draw(st.permutations((1, 2, 3)))
    ]  # fmt: skip
    faulty = [dict(record) for record in sound]
    at_fault = ("Found tilt", "Found sway", *(("When clock",) if is_numbered else ("Who", "When day")))
    for n in draw(st.sets(st.integers(0, len(sound) - 1), min_size=1, max_size=3)):
        faulty[n][draw(st.sampled_from(at_fault))] = draw(st.sampled_from(FAULTS))
    return Export(text, form, sound, faulty, is_two_rows=True)


@st.composite
def exports_carried_over(draw: st.DrawFn) -> Export:
    """Setups of which an empty cell is the last one before, in the visit or of the rider."""
    decimal, how = draw(st.sampled_from((",", "."))), draw(st.sampled_from(("visit", "rider")))
    text = f'[form]\ndecimal = "{decimal}"\n[tables.foot_setups]\nfiles = "rows.csv"\n[tables.foot_setups.columns]\n'
    text += f'session_id = "visit"\ncapture_no = "no"\nside = "foot"\ninsole_level = {{ from = "insole", carry = "{how}" }}\n'
    text += f'shims_added = {{ from = "shims", carry = "{how}", flip = true, empty = 0 }}\n'
    text += f'stance_mm = {{ from = "stance", unit = "cm", carry = "{how}", empty = 0 }}\n'
    sound = [
        {
            "visit": visit, "no": str(n), "foot": "left", "words": f"{visit}{n}",
            # The first of a visit has no earlier one, unless it is the rider's.
            "insole": draw(st.sampled_from(
                ("low", "high") if n == 1 and (visit == "V1" or how == "visit") else ("", "", "none")
            )),
            "shims": draw(st.sampled_from(("", "1", "-1"))),
            "stance": draw(st.sampled_from(("", number(draw, decimal, "rad")))),
        }
        for visit in ("V1", "V3")
        for n in (1, 2, 3)
    ]  # fmt: skip
    faulty = [dict(record) for record in sound]
    for n in draw(st.sets(st.integers(0, len(sound) - 1), min_size=1, max_size=2)):
        faulty[n][draw(st.sampled_from(("insole", "shims", "stance")))] = draw(st.sampled_from(FAULTS))
    return Export(text, ".csv", sound, faulty)


PARENTS = {
    "riders": "rider_id\nR1\nR2\n",
    "fitters": "fitter_id,fitter_name\nF1,A fitter\n",
    "fit_sessions": "session_id,rider_id,fitter_id,studio_id,session_date,visit_kind\n"
    "V1,R1,F1,quayside,2026-03-01,first\nV2,R2,F1,quayside,2026-03-02,first\nV3,R1,F1,quayside,2026-04-01,refit\n",
}


def state(path: Path) -> dict[str, list[dict[str, Any]]]:
    """The rows that are current, and the rejects that stand."""
    warehouse = open_reading(path)
    found = {
        table: warehouse.rows(
            f"SELECT * EXCLUDE (load_id, file_no, record, superseded_by) FROM raw.{table} "
            "WHERE superseded_by IS NULL ORDER BY ALL"
        )
        for table in ("knee_captures", "foot_setups")
    }
    found["rejects"] = warehouse.rows('SELECT reject_no, "table", "column", rule, value FROM raw.rejects ORDER BY ALL')
    warehouse.close()
    return found


def read(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def unguarded(cell: str) -> str:
    """The cell as it was received: one apostrophe keeps a spreadsheet from running it."""
    return cell[1:] if cell.startswith("'") and cell.lstrip("'")[:1] in {"=", "+", "@", "-"} else cell


def goes_round(export: Export, *, has_parents: bool = False) -> None:
    with TemporaryDirectory() as place:
        folder = Path(place)
        if has_parents:
            (folder / "parents").mkdir()
            for name, text in PARENTS.items():
                (folder / "parents" / f"{name}.csv").write_text(text, encoding="utf-8")
            for name in ("sound.duckdb", "w.duckdb"):
                load([folder / "parents"], folder / name, today=TODAY)
        load([export.write(folder / "sound", is_sound=True)], folder / "sound.duckdb", today=TODAY)
        load([export.write(folder / "faulty", is_sound=False)], folder / "w.duckdb", today=TODAY)
        before = state(folder / "w.duckdb")
        write_rejects(folder / "w.duckdb", "", folder / "mend")
        files = [path for path in (folder / "mend").iterdir() if path.suffix == ".csv"]
        given = {tuple(record.values()): record for record in (*export.faulty, *export.faulty_log)}
        sound = {
            tuple(as_exported.values()): mended
            for one, other in ((export.faulty, export.sound), (export.faulty_log, export.log))
            for as_exported, mended in zip(one, other, strict=True)
        }
        mended: dict[Path, list[list[str]]] = {}
        for path in files:
            headings, *rows = read(path)
            width = len(export.sound[0])
            assert [unguarded(name) for name in headings[:width]] == list(export.sound[0])
            # Every cell stands as it was exported, whatever its unit, sign and decimal sign.
            cells = [tuple(unguarded(cell) for cell in row[:width]) for row in rows]
            assert set(cells) <= set(given)
            mended[path] = [headings, *([*sound[was].values(), *row[width:]] for was, row in zip(cells, rows, strict=True))]
        # As nobody mends it, it changes nothing.
        report = load([folder / "mend"], folder / "w.duckdb", today=TODAY) if before["rejects"] else None
        assert state(folder / "w.duckdb") == before
        assert report is None or not any(file.refused or file.stored or file.replaced for file in report.files)
        for path, rows in mended.items():
            with path.open("w", encoding="utf-8", newline="") as file:
                csv.writer(file).writerows(rows)
        if mended:
            load([folder / "mend"], folder / "w.duckdb", today=TODAY)
        after = state(folder / "w.duckdb")
        assert after == {**state(folder / "sound.duckdb"), "rejects": []}


@SEARCH
@given(exports())
def test_rejected_rows_of_any_mapping_go_round(export: Export) -> None:
    goes_round(export)


@SEARCH
@given(exports_with_log())
def test_rejected_rows_that_follow_from_a_log_go_round(export: Export) -> None:
    goes_round(export)


@SEARCH
@given(exports_by_rider_and_time())
def test_rejected_rows_whose_visit_and_number_were_found_go_round(export: Export) -> None:
    goes_round(export, has_parents=True)


@SEARCH
@given(exports_carried_over())
def test_rejected_rows_of_setups_that_are_carried_over_go_round(export: Export) -> None:
    goes_round(export, has_parents=True)
