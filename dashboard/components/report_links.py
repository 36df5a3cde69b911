"""The way from the screens to a letter that can be shared, and to the full report behind it."""

from dashboard.chromium import missing
from dashboard.components import html
from dashboard.components.page import Desk
from dashboard.questions.selection.selection import Selection


def report_links(desk: Desk, selection: Selection) -> html.P | None:
    """Makes the letter of a selection on a click; nothing for readers who do not see the whole studio."""
    if not desk.asker.reader().sees_the_studio:
        return None
    form, words = (
        ("html", " Charts are told in words: this machine has no Chromium to draw them.") if missing() else ("pdf", "")
    )
    letter, full = (desk.addresses.report(kind, form, selection) for kind in ("letter", "report"))
    return html.P(
        [
            html.A(f"Letter of two pages ({form.upper()})", href=letter, download="", className="button"),
            " ",
            html.A("Full report", href=full, download=""),
            f" of this selection, in some seconds.{words}",
        ],
        className="report-links way-to",
    )
