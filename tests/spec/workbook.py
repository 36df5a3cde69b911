"""Writes XLSX workbooks by hand, plain ones and hostile ones, without a library that would refuse to."""

import zipfile
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_EPOCH = datetime(1899, 12, 30)


class Xml(str):
    """A cell that is written as it stands, such as a formula."""


def sheet_xml(rows: Sequence[Sequence[object]]) -> str:
    """The rows of a sheet; text, numbers, booleans and dates become cells of those types."""
    written = []
    for number, row in enumerate(rows, 1):
        cells = "".join(_cell(column_name(index) + str(number), value) for index, value in enumerate(row))
        written.append(f'<row r="{number}">{cells}</row>')
    return "".join(written)


def column_name(index: int) -> str:
    """A, B, …, AA for 0, 1, …, 26."""
    name = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        name = chr(65 + rest) + name
    return name


def write_workbook(path: Path, sheets: Mapping[str, str], **parts: str) -> Path:
    """Writes a workbook of sheets, each given as the XML of its rows; `parts` replaces whole parts (`workbook`, `sheet1`)."""
    numbers = range(1, len(sheets) + 1)
    listed = "".join(
        f'<sheet name={quoteattr(name)} sheetId="{no}" r:id="rId{no}"/>' for no, name in zip(numbers, sheets, strict=True)
    )
    links = "".join(
        f'<Relationship Id="rId{no}" Type="{_OFFICE}/worksheet" Target="worksheets/sheet{no}.xml"/>' for no in numbers
    )
    styles = f'<Relationship Id="rId{len(sheets) + 1}" Type="{_OFFICE}/styles" Target="styles.xml"/>'
    types = "".join(
        f'<Override PartName="/xl/worksheets/sheet{no}.xml" ContentType="{_TYPE}.worksheet+xml"/>' for no in numbers
    )
    files = {
        "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types"><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" '
        f'ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType="{_TYPE}.sheet.main+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{_TYPE}.styles+xml"/>{types}</Types>',
        "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" '
        f'Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>{listed}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">{links}{styles}</Relationships>',
        "xl/styles.xml": f'<styleSheet xmlns="{_MAIN}"><fonts count="1"><font/></fonts><fills count="1"><fill/></fills>'
        '<borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="3">'
        '<xf numFmtId="0"/><xf numFmtId="14" applyNumberFormat="1"/><xf numFmtId="22" applyNumberFormat="1"/></cellXfs>'
        "</styleSheet>",
    }
    for no, rows in zip(numbers, sheets.values(), strict=True):
        files[f"xl/worksheets/sheet{no}.xml"] = f'<worksheet xmlns="{_MAIN}"><sheetData>{rows}</sheetData></worksheet>'
    files |= {f"xl/{'worksheets/' if name.startswith('sheet') else ''}{name}.xml": text for name, text in parts.items()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            member = zipfile.ZipInfo(name, (2026, 1, 1, 0, 0, 0))
            member.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(member, '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n' + text)
    return path


def _cell(place: str, value: object) -> str:
    if value is None or value == "":
        return ""
    if isinstance(value, Xml):
        return f'<c r="{place}"{value}</c>'
    if isinstance(value, bool):
        return f'<c r="{place}" t="b"><v>{int(value)}</v></c>'
    if isinstance(value, int | float):
        return f'<c r="{place}"><v>{value!r}</v></c>'
    if isinstance(value, date):
        moment = value if isinstance(value, datetime) else datetime(value.year, value.month, value.day)
        serial = (moment - _EPOCH).total_seconds() / 86400
        return f'<c r="{place}" s="{2 if isinstance(value, datetime) else 1}"><v>{serial!r}</v></c>'
    return f'<c r="{place}" t="inlineStr"><is><t xml:space="preserve">{escape(str(value))}</t></is></c>'
