"""Makes the typeface that is shipped, and the table of its widths, from the variable font it is taken from.

`python -m tests.typeface.make FONT` writes dashboard/assets/typeface.woff2 and dashboard/figures/advances.json; `make typeface`
fetches FONT first, from the package named below. The same source gives the same bytes.

What is left out: characters that no page writes, weights above 700, the axis of optical sizes, and every feature but kerning
and marks. Figures are of one width as they are, so that columns and intervals stand under each other wherever text is drawn,
in a chart, on paper and in a saved picture too; nobody has to ask for the feature.
"""

import argparse
import hashlib
import json
from io import BytesIO
from pathlib import Path
from typing import Any, Final

from fontTools import subset
from fontTools.ttLib import TTFont
from fontTools.varLib import instancer

import dashboard

PACKAGE: Final = "inter-ui@4.1.1"
IN_PACKAGE: Final = "package/variable/InterVariable.woff2"
SOURCE_SHA256: Final = "693b77d4f32ee9b8bfc995589b5fad5e99adf2832738661f5402f9978429a8e3"

HERE: Final = Path(dashboard.__file__).parent
TYPEFACE: Final = HERE / "assets" / "typeface.woff2"
ADVANCES: Final = HERE / "figures" / "advances.json"
WEIGHTS: Final = {"regular": 400, "bold": 700}

# Latin with its accents, since studios and fitters have names; then what the pages write beside letters.
RANGES: Final = ((0x20, 0x7E), (0xA0, 0x17F), (0x2000, 0x200B), (0x2010, 0x2027), (0x202F, 0x203A), (0x2070, 0x208E))
SIGNS: Final = "\u0302\u0303\u0304\u2060ΔΣΦΩαβγδεθλμπρστφχψ€™←↑→↓↗↘−√∞∫≈≠≤≥●○◆◇□■▲△▼▽✓✗�"


def characters() -> list[int]:
    """The code points that the typeface holds, where its source does."""
    return sorted({code for first, last in RANGES for code in range(first, last + 1)} | {ord(sign) for sign in SIGNS})


def make(source: Path) -> tuple[bytes, dict[str, Any]]:
    """The typeface as WOFF2, and the table of its widths. Raises SystemExit where the source is another file."""
    found = hashlib.sha256(source.read_bytes()).hexdigest()
    if found != SOURCE_SHA256:
        raise SystemExit(f"{source}: found SHA-256 {found}, expected {SOURCE_SHA256}, of {IN_PACKAGE} in {PACKAGE}.")
    font = TTFont(source, recalcTimestamp=False)
    _set_figures_tabular(font)
    options = subset.Options(layout_features=["kern", "mark", "mkmk", "ccmp"], name_IDs=[0, 1, 2, 4, 5, 13, 14], hinting=False)
    cutter = subset.Subsetter(options)
    cutter.populate(unicodes=characters())
    cutter.subset(font)
    font = instancer.instantiateVariableFont(font, {"opsz": 14, "wght": (400, 700)})
    font.flavor = "woff2"
    made = _saved(font)
    return made, advances(TTFont(BytesIO(made)))


def _saved(font: TTFont) -> bytes:
    held = BytesIO()
    font.save(held)
    return held.getvalue()


def _set_figures_tabular(font: TTFont) -> None:
    """Lets the characters that have a form of even width be drawn in it."""
    features = [record.Feature for record in font["GSUB"].table.FeatureList.FeatureRecord if record.FeatureTag == "tnum"]
    swaps: dict[str, str] = {}
    for feature in features:
        for place in feature.LookupListIndex:
            for part in font["GSUB"].table.LookupList.Lookup[place].SubTable:
                swaps.update(getattr(getattr(part, "ExtSubTable", part), "mapping", {}))
    for table in font["cmap"].tables:
        for code, name in table.cmap.items():
            if chr(code).isdigit():
                table.cmap[code] = swaps.get(name, name)


def advances(font: TTFont) -> dict[str, Any]:
    """The width of every character in thousandths of the size of the text, at both weights."""
    widths: dict[str, dict[str, int]] = {}
    for name, weight in WEIGHTS.items():
        drawn = instancer.instantiateVariableFont(TTFont(BytesIO(_saved(font))), {"wght": weight})
        scale, measured = 1000 / drawn["head"].unitsPerEm, drawn["hmtx"]
        widths[name] = {chr(code): round(scale * measured[glyph][0]) for code, glyph in sorted(drawn.getBestCmap().items())}
    return widths


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("font", type=Path, help=f"{IN_PACKAGE} of {PACKAGE}")
    made, widths = make(parser.parse_args().font)
    TYPEFACE.write_bytes(made)
    ADVANCES.write_text(json.dumps(widths, ensure_ascii=True, separators=(",", ":")) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
