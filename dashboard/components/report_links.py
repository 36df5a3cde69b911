"""The way from the screens to a short report that can be shared, to the full one behind it, and to the meeting sheet."""

from dashboard.chromium import missing
from dashboard.components import html
from dashboard.components.page import Desk
from dashboard.questions.selection.selection import Selection


def report_links(desk: Desk, selection: Selection) -> html.P | None:
    """Makes the reports of a selection on a click; nothing for readers who do not see the whole studio."""
    if not desk.asker.reader().sees_the_studio:
        return None
    form, words = (
        ("html", " Charts are told in words: this machine has no Chromium to draw them.") if missing() else ("pdf", "")
    )
    short, full, meeting = (desk.addresses.report(kind, form, selection) for kind in ("short", "report", "meeting"))
    return html.P(
        [
            html.A(f"Short report ({form.upper()})", href=short, download="", className="button"),
            " ",
            html.A("Meeting sheet", href=meeting, download="", className="button"),
            " ",
            html.A("Full report", href=full, download=""),
            f" of this selection, in some seconds.{words}",
        ],
        className="report-links way-to",
    )
