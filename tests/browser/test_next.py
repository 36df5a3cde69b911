"""The Next rider page: a rider is found on it or led to it, and two feet are typed by hand, of which nothing stays."""

import logging
import re
from pathlib import Path

import pypdfium2
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from dashboard.questions.foresight.answers_foresight import Next
from dashboard.questions.foresight.knees import Form, Knee
from dashboard.questions.selection.selection import Selection
from etl.keeping.access_log import AccessLog
from tests.browser.conftest import Served, Watched, watching
from tests.browser.limits import VIEW, counted

pytestmark = pytest.mark.browser

RIDER = "R0655"
# Values that nobody would write down otherwise.
TILT, SWAY = "-4.317", "17.139"
CHOSEN = {"left.arch_height": "low", "left.squat_knee_path": "inward", "right.arch_height": "low"}
WRITTEN = {"left.forefoot_angle_deg": "5", "left.tilt_1": TILT, "left.sway_1": SWAY, "right.forefoot_angle_deg": "1",
           "right.tilt_1": "0.2", "right.sway_1": "14"}  # fmt: skip
FORM = Form(
    left=Knee(
        arch_height="low", squat_knee_path="inward", forefoot_angle_deg=5, tilt_deg=(float(TILT),), sway_mm=(float(SWAY),)
    ),
    right=Knee(arch_height="low", forefoot_angle_deg=1, tilt_deg=(0.2,), sway_mm=(14,)),
)


def write(page: Page) -> None:
    for name, value in CHOSEN.items():
        page.locator(f"[name='{name}']").select_option(value)
    for name, value in WRITTEN.items():
        page.locator(f"[name='{name}']").fill(value)


def test_a_rider_is_led_to_what_tended_to_follow(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}riders?rider={RIDER}")
    page.get_by_role("link", name="What tended to follow for such feet").click()
    expect(page).to_have_url(f"{served.address}next?rider={RIDER}")
    answer = served.asker.ask("next", Selection(rider=(RIDER,)))
    assert isinstance(answer, Next)
    expect(page.locator("#headline")).to_have_text(answer.headline)


def test_a_rider_is_found_on_the_page_itself(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}next")
    expect(page.locator("#headline")).to_contain_text("Choose a rider, or type two feet by hand")
    box = page.get_by_label("Find a rider")
    box.fill("0655")
    expect(page.locator(".found-words")).to_have_text(f"One rider. Enter opens {RIDER}.")
    box.press("Enter")
    expect(page).to_have_url(f"{served.address}next?rider={RIDER}")
    expect(page.locator("#selected")).to_contain_text(f"rider {RIDER}")


def test_two_feet_typed_by_hand_show_their_bands_and_leave_nothing_behind(
    served: Served, watched: Watched, caplog: pytest.LogCaptureFixture
) -> None:
    page = watched.open(f"{served.address}next")
    page.get_by_role("link", name="Type two feet by hand").click()
    expect(page).to_have_url(f"{served.address}next/by-hand")
    expect(page.get_by_role("spinbutton", name=re.compile("^Tilt °.* Left$"))).to_be_visible()
    with caplog.at_level(logging.DEBUG):
        write(page)
        page.get_by_role("button", name="Show what tended to follow").click()
        answer = served.asker.foresee(FORM)
        expect(page.locator(".typed-headline")).to_have_text(answer.headline)
        expect(page.locator("#next-typed .js-plotly-plot")).to_have_count(2)
        # That of a rider, or of none, is not read beside what is told of these feet.
        expect(page.locator("#next-head")).to_be_hidden()
    assert "left with a medium insole" in answer.headline
    first = page.locator("#next-typed figure").first
    expect(first).to_contain_text("Left: likely nearer with a medium insole")
    expect(first.locator(".js-plotly-plot")).to_be_visible()
    assert page.locator("#next-typed").evaluate("one => document.activeElement === one")
    # The form is folded over what was typed, so that the Tab key comes to what is told.
    expect(page.locator("[name='left.tilt_1']")).to_be_hidden()
    assert counted(page).beyond(VIEW) == []
    assert Axe().run(page).response["violations"] == []
    # What was typed stands in the page alone.
    assert page.url == f"{served.address}next/by-hand"
    kept = page.evaluate("() => JSON.stringify([localStorage, sessionStorage, history.state, document.cookie])")
    log = AccessLog(served.asker.path)
    noted = log.file.read_text(encoding="utf-8") if log.file.exists() else ""
    for place in (kept, noted, caplog.text, *watched.requests, *watched.said):
        assert TILT not in place and SWAY not in place
    page.get_by_role("button", name="Clear").click()
    expect(page.locator("#next-typed")).to_be_empty()
    expect(page.locator("[name='left.tilt_1']")).to_be_visible()
    expect(page.locator("[name='left.tilt_1']")).to_have_value("")
    page.reload()
    expect(page.locator("#next-head")).to_be_visible()
    expect(page.locator("[name='left.tilt_1']")).to_have_value("")


def test_a_wrong_value_is_told_by_its_field_and_mended(served: Served, watched: Watched) -> None:
    page = watched.open(f"{served.address}next/by-hand")
    ask = page.get_by_role("button", name="Show what tended to follow")
    ask.click()
    told = page.locator("#next-typed [role=alert]")
    expect(told).to_contain_text("Nothing is typed yet.")
    page.locator("[name='right.tilt_1']").fill("99")
    page.locator("[name='left.sway_1']").press_sequentially("--")
    ask.click()
    expect(told).to_contain_text("Sway, left: this is no number, expected a number.")
    expect(told).to_contain_text("Tilt, right: found 99, expected 30 ° at most.")
    page.locator("[name='left.sway_1']").fill("")
    page.locator("[name='right.tilt_1']").fill("-3")
    page.locator("[name='right.tilt_1']").press("Enter")
    expect(page.locator(".typed-headline")).to_be_visible()
    expect(told).to_have_count(0)


def test_both_knees_what_the_exam_speaks_against_and_the_caution_print_on_one_sheet(
    served: Served, watched: Watched, tmp_path: Path
) -> None:
    page = watched.open(f"{served.address}next?rider={RIDER}")
    file = tmp_path / "printed.pdf"
    page.pdf(path=file, prefer_css_page_size=True)
    document = pypdfium2.PdfDocument(file)
    sheets = [" ".join(sheet.get_textpage().get_text_range().split()) for sheet in document]
    document.close()
    assert len(sheets) == 1
    answer = served.asker.ask("next", Selection(rider=(RIDER,)))
    assert isinstance(answer, Next)
    against = [row.against for row in answer.setups if row.against]
    assert against and all(" ".join(why.split()[:4]) in sheets[0] for why in against)
    assert "Left: " in sheets[0] and "Right: " in sheets[0] and "Before anything is changed" in sheets[0]
    assert "Find a rider" not in sheets[0]


@pytest.mark.parametrize("path", ["next", f"next?rider={RIDER}", "next/by-hand"])
def test_on_a_tablet_held_upright_every_target_takes_a_glove(served: Served, browser: Browser, path: str) -> None:
    with watching(browser, has_touch=True, is_mobile=True) as watched:
        watched.page.set_viewport_size({"width": 820, "height": 1180})
        page = watched.open(f"{served.address}{path}")
        heights = page.evaluate(
            """() => [...document.querySelectorAll('.view-screen :is(a[href], button, input, select, summary)')]
              .filter(one => one.checkVisibility() && !one.closest('details:not([open]) > :not(summary)'))
              .map(one => one.getBoundingClientRect().height)"""
        )
        assert len(heights) > 5 and min(heights) >= 48
        assert page.evaluate("document.documentElement.scrollWidth") == 820
