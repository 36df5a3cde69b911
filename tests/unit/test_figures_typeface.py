"""The typeface that is shipped: it holds what the pages write, its widths are those of the table, with its licence."""

import hashlib
import json
import re
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont

import dashboard
from dashboard.app import create_app
from dashboard.figures.template import layout, note
from dashboard.figures.theme import FONT, style_sheet
from dashboard.figures.typeface import FAMILY, FILE, SLACK, address, inlined, room_px, text_px
from tests.typeface.make import ADVANCES, TYPEFACE, advances, characters
from tests.unit.made_answers import MadeAsker
from warehouse_demo import EXPORTS

ROOT = Path(dashboard.__file__).parents[1]
# What no page writes: the signs of the wire's own forms, and rules on signs that are refused.
ELSEWHERE = re.compile(r"[\u3000-\uffff\u200c-\u200f\u202a-\u202e\u2028\u2029\u2060-\u206f\u2016\u2218\u230a\u230b]")


@pytest.fixture(scope="module")
def font() -> TTFont:
    return TTFont(FILE)


def test_it_is_the_file_that_was_made() -> None:
    """Made anew by `make typeface`; another file is a change that somebody decides on."""
    assert TYPEFACE == FILE
    found = hashlib.sha256(FILE.read_bytes()).hexdigest()
    assert found == "7c7671a956187ec808d5b0b5c24a6dd006ab3e856e6ec22d9f78e781dd2908c0"
    assert len(FILE.read_bytes()) < 40_000


def test_its_licence_lies_beside_it(font: TTFont) -> None:
    text = FILE.with_suffix(".LICENSE.txt").read_text(encoding="utf-8")
    assert "SIL OPEN FONT LICENSE Version 1.1" in text and "Reserved Font Name" not in text.split("-----")[0]
    assert "Open Font License, Version 1.1" in font["name"].getDebugName(13)


def test_it_holds_what_is_written(font: TTFont) -> None:
    held = set(font.getBestCmap())
    sources = [path for folder in ("dashboard", "shared", "etl") for kind in ("*.py", "*.md", "*.js", "*.html", "*.json")
               for path in (ROOT / folder).rglob(kind) if path.name not in ("METHODS.md", "plotly-basic.min.js")]  # fmt: skip
    sources += [path for path in EXPORTS.iterdir() if path.suffix == ".csv"]
    missing = {
        (sign, path.name)
        for path in sources
        for sign in ELSEWHERE.sub("", path.read_text(encoding="utf-8", errors="ignore"))
        if ord(sign) not in held and sign.isprintable()
    }
    assert missing == set()
    assert {ord(sign) for sign in "°±−×·–…\u2009\u202f\u00a0→←↑↓²"} <= held <= set(characters())


def test_all_figures_have_one_width(font: TTFont) -> None:
    widths = json.loads(ADVANCES.read_text(encoding="utf-8"))
    for weight in ("regular", "bold"):
        assert len({widths[weight][figure] for figure in "0123456789"}) == 1
    assert widths == advances(font)


def test_the_width_of_text_is_the_sum_of_its_characters() -> None:
    """By hand: "mm" at 20 px is twice an m of 879 thousandths; "−1.5°" is 662 + 648 + 288 + 648 + 400."""
    widths = json.loads(ADVANCES.read_text(encoding="utf-8"))
    assert text_px("mm", 20) == pytest.approx(2 * widths["regular"]["m"] * 20 / 1000)
    assert text_px("<b>mm</b>", 20) == pytest.approx(2 * widths["bold"]["m"] * 20 / 1000)
    assert text_px("<b>m</b>m", 10) == pytest.approx((widths["bold"]["m"] + widths["regular"]["m"]) / 100)
    assert text_px("m<br>mmm<br>mm", 10) == pytest.approx(3 * widths["regular"]["m"] / 100)
    assert text_px("11.11", 1000) == 4 * 648 + 288
    assert text_px("四", 12) == 12


def test_room_is_for_the_widest_label_in_any_typeface() -> None:
    assert room_px(["11", "1"], 100, gap_px=8) == -(-SLACK * 129.6 // 1) + 8
    assert room_px([], 12, gap_px=3) == 3


def test_every_sheet_of_style_begins_with_it() -> None:
    assert FONT.startswith(f"{FAMILY},")
    sheet = style_sheet(inlined())
    assert sheet.startswith(f"@font-face{{font-family:{FAMILY};") and "url(data:font/woff2;base64,d09GMg" in sheet


def test_it_is_served_for_good_under_an_address_of_its_own() -> None:
    client = create_app(MadeAsker(), prefix="/studio/").server.test_client()  # type: ignore[arg-type]
    page = client.get("/studio/").get_data(as_text=True)
    assert page.count(address("/studio/")) == 2
    assert f'<link rel="preload" href="{address("/studio/")}" as="font" type="font/woff2" crossorigin>' in page
    with client.get(address("/studio/"), headers={"Accept-Encoding": "gzip"}) as response:
        assert response.get_data() == FILE.read_bytes()
        assert response.mimetype == "font/woff2"
        assert "immutable" in response.headers["Cache-Control"]


def test_a_chart_has_room_for_the_labels_at_its_sides_in_any_typeface() -> None:
    """What was cut where the typeface was missing: the longest support, and the intervals at the right."""
    interval = note("<b>−1.60 to −0.80</b>", xref="paper", x=1, xanchor="left", xshift=12, font={"size": 12})
    names = {"ticktext": ["Low insole", "One mm of stance"], "tickfont": {"size": 13}, "ticklabelstandoff": 8}
    drawn = layout(None, height=100, margin=(10, 10, 4, 42), yaxis=names, annotations=[interval])["margin"]
    assert drawn["l"] >= text_px("One mm of stance", 13) * SLACK + 8
    assert drawn["r"] >= text_px("<b>−1.60 to −0.80</b>", 12) * SLACK + 12
    assert (drawn["t"], drawn["b"]) == (4, 42)
    assert layout(None, height=100, margin=(300, 200, 4, 42), yaxis=names)["margin"]["l"] == 300
    unseen = layout(None, height=100, margin=(10, 10, 4, 42), yaxis={**names, "showticklabels": False})
    assert unseen["margin"]["l"] == 10
