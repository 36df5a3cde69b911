"""Where files are handed in, and what was found in them."""

from collections.abc import Sequence
from typing import Any, Final

from dash import dcc

from dashboard.components import html
from dashboard.components.page import Desk
from dashboard.components.table import csv_link, table
from dashboard.pages.data import ids
from dashboard.pages.data.tables import FILES, NEW_WARNINGS, REJECTS
from dashboard.web.upload_allowed import folder_name
from dashboard.web.uploads import Uploads
from shared.errors import FitledgerError
from shared.statistics.wording import counted

FINDINGS_SHOWN: Final = 25
TITLE: Final = "Load new exports"
_FATES: Final = ("stored", "replaced", "unchanged", "rejected", "waiting")


def closed(refusal: FitledgerError) -> list[Any]:
    """The place where this reader may not hand in files: why, and what to do."""
    return [html.H2(TITLE, className="section-title"), html.P(str(refusal), className="concerns")]


def hand_in(desk: Desk, uploads: Uploads, passage: Sequence[html.P], forms: Sequence[html.P]) -> list[Any]:
    """The place where files are dropped or chosen, or the server's own folder is read, and room for what is found in them."""
    folder = folder_name(uploads.settings)
    return [
        html.H2(TITLE, className="section-title"),
        *passage,
        html.Div(
            [
                html.P("Drop files here, or", className="drop-words"),
                html.Button("Choose files", className="button is-strong", **{"data-choose": "files"}),
                html.Button(f"Read the folder {folder}", className="button", **{"data-folder": folder}) if folder else None,
            ],
            id=ids.DROP,
            className="drop",
            **{
                "data-address": f"{desk.addresses.prefix}upload",
                "data-largest": str(uploads.largest_bytes),
                "data-too-large": str(uploads.too_large()),
            },
        ),
        html.Div(forms, className="reading"),
        html.P(id=ids.SAID, className="working", role="status"),
        html.P(id=ids.WORKING, className="working", role="status"),
        html.P(id=ids.STEP, className="concerns", **{"aria-hidden": "true"}),
        html.Div(id=ids.FINDINGS),
        dcc.Store(id=ids.RECEIVED),
        dcc.Store(id=ids.ASKED),
        dcc.Store(id=ids.SAYING),
    ]


def checked(desk: Desk, report: Any, token: str, note: str = "") -> html.Div:
    """What loading the files would do, every finding, and the two ways on. Nothing is written yet."""
    headline = f"{note} " if note else ""
    headline += f"Checked {_files(report)}. {_fates(report, 'would be')}. Nothing is written yet."
    ways = html.Div(
        [
            html.Button("Load these files", id=ids.LOAD, className="button is-strong"),
            html.Button("Propose how they are read", id=ids.MAP, className="button") if _refused(report) else None,
            html.Button("Put them aside", id=ids.ASIDE, className="button"),
        ],
        className="ways",
    )
    return _report_block(desk, report, token, headline, "What loading these files would do", ways)


def unusable(fault: FitledgerError) -> html.Div:
    """Files of which none is in the contract's form: why, and the two ways on."""
    ways = html.Div(
        [
            html.Button("Propose how they are read", id=ids.MAP, className="button is-strong"),
            html.Button("Put them aside", id=ids.ASIDE, className="button"),
        ],
        className="ways",
    )
    title = html.H3("None of these files can be read as it is.", className="outcome", tabIndex=-1, **{"data-takes-focus": ""})
    return html.Div([title, ways, html.P(str(fault), className="concerns")], className="found")


def loaded(desk: Desk, report: Any, token: str) -> html.Div:
    """Shows what a load did with the files."""
    headline = (
        f"Load {report.load_id} is in. {_fates(report, 'are')}. The pages follow."
        if report.load_id
        else f"Nothing new. {_fates(report, 'are')}. The warehouse is as it was."
    )
    return _report_block(desk, report, token, headline, "What was loaded", None)


def _report_block(desk: Desk, report: Any, token: str, headline: str, caption: str, ways: html.Div | None) -> html.Div:
    return html.Div(
        [
            html.H3(headline, className="outcome", tabIndex=-1, **{"data-takes-focus": ""}),
            ways,
            table(caption, FILES, report.files),
            *_questions(report),
            *[html.P(filled.words, className="concerns") for filled in report.filled],
            *_findings(report, f"{desk.addresses.prefix}upload/{token}/findings.csv"),
            *_warnings(report),
            *_rig(report),
        ],
        className="found",
    )


def _findings(report: Any, csv: str) -> list[Any]:
    findings = report.findings
    if not findings:
        return [html.P("No row breaks a rule.", className="concerns")] if not _refused(report) else []
    first_findings = findings[:FINDINGS_SHOWN]
    further = len(findings) - len(first_findings)
    return [
        table(f"Findings: what keeps rows or cells out, {len(first_findings):,} of {len(findings):,}", REJECTS, first_findings),
        html.P(f"{further:,} more stand in the CSV.", className="concerns") if further else None,
        csv_link(csv, "every finding"),
    ]


def _warnings(report: Any) -> list[Any]:
    if not report.warnings:
        return []
    n = sum(group.n for group in report.warnings)
    return [
        html.Details(
            [
                html.Summary(f"{n:,} rows deserve a look, and are loaded all the same"),
                table("New warnings by kind", NEW_WARNINGS, report.warnings),
            ]
        )
    ]


def _questions(report: Any) -> list[Any]:
    """What no program can know, with both answers, before all else that is found."""
    if not report.questions:
        return []
    asked = [html.Li([html.P(words) for words in question.lines]) for question in report.questions]
    return [html.P("Asked, since no sign, side, unit or id is guessed:", className="caution"), html.Ol(asked)]


def _rig(report: Any) -> list[Any]:
    if not report.rig:
        return []
    return [html.P("The rig, over all fits:"), html.Ul([html.Li(finding.words) for finding in report.rig])]


def _refused(report: Any) -> int:
    return sum(file.refused for file in report.files)


def _files(report: Any) -> str:
    n, refused = len(report.files), _refused(report)
    return counted(n, "file") + (f" ({refused:,} refused)" if refused else "")


def _fates(report: Any, verb: str) -> str:
    """What became, or would become, of the rows: `Of 3 rows, 2 would be stored and 1 rejected`."""
    read = sum(file.read for file in report.files)
    counts = {fate: sum(getattr(file, fate) for file in report.files) for fate in _FATES}
    fate_words = [f"{n:,} {fate}" for fate, n in counts.items() if n]
    if not fate_words:
        return "They hold no row"
    fate_words[0] = fate_words[0].replace(" ", f" {'is' if (verb, fate_words[0][:2]) == ('are', '1 ') else verb} ", 1)
    listed = " and ".join([", ".join(fate_words[:-1]), fate_words[-1]]) if len(fate_words) > 1 else fate_words[0]
    return f"Of {counted(read, 'row')}, {listed}{report.cell_words}"
