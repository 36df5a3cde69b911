"""Makes the dashboard: a shell with navigation and filter bar, the pages in it, downloads, security headers."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from dash import ClientsideFunction, Dash, Input, Output, State, dcc
from flask import Flask, redirect, request

from dashboard.accounts.login import Door
from dashboard.accounts.store import Accounts
from dashboard.components import definitions, filter_bar, html, ids
from dashboard.components.address import Addresses, View, query_for, read_view, search_of
from dashboard.components.chosen import chosen_words
from dashboard.components.kept_views import kept_views
from dashboard.components.notes import age_note
from dashboard.components.page import Desk, Page, PageView, frame, moved_to, view_tabs
from dashboard.components.period_chips import period_chips
from dashboard.components.places import add_places
from dashboard.figures import typeface
from dashboard.figures.theme import style_sheet
from dashboard.letters.behind import SentBehind
from dashboard.letters.stopping import add_stopping
from dashboard.pages import PAGES
from dashboard.pages.data.layout import LOADING_PATH as DATA_PATH
from dashboard.pages.returns.callbacks import DESK_PAGE
from dashboard.questions.door.asked_by import AskedBy
from dashboard.questions.door.asking import Asker, Choices
from dashboard.questions.selection.selection import Selection
from dashboard.report.served import add_reports
from dashboard.web.compressing import add_compressing
from dashboard.web.desk_gate import add_desk_gate
from dashboard.web.downloads import add_downloads
from dashboard.web.entries import add_entries
from dashboard.web.guard import add_guard, allow_hosts, trust_proxy
from dashboard.web.headers import add_headers
from dashboard.web.kept_views import add_kept_views
from dashboard.web.lean import LeanDash
from dashboard.web.logs import add_request_log
from dashboard.web.metrics import Watched
from etl.keeping.access_log import AccessLog
from shared.errors import FitledgerError, NotPermittedError, UsageError
from shared.settings import Settings

TITLE: Final = "fitledger"
DESCRIPTION: Final = "What each support did to the knees of this studio's riders, with honest intervals."
_INDEX: Final = Path(__file__).with_name("index.html")
_OPENS_WORDS: Final = {"aria-haspopup": "dialog", "aria-controls": definitions.PANEL, "title": "What the words mean"}
_NO_CHOICES: Final = Choices((), (), (), None, None)


def create_app(asker: Asker, *, prefix: str = "/", accounts: Accounts | None = None) -> Dash:
    """The dashboard on one warehouse, served under `prefix` (begins and ends with a slash).

    `accounts`: who may sign in; without them nobody is asked, as is right where it is served to its own machine alone.

    Raises UsageError where the prefix has another form.
    """
    if not (prefix.startswith("/") and prefix.endswith("/")):
        raise UsageError(f"prefix: found {prefix!r}, expected a path that begins and ends with a slash, such as /studio/.")
    serving = asker.settings.serving
    access = AccessLog(asker.path, kept_days=asker.settings.access.kept_days)
    door = Door(prefix, accounts, access, settings=asker.settings.sign_in, https=serving.behind_proxy)
    desk = Desk(AskedBy(asker, door.reader, door.notes), Addresses(prefix), after_load=SentBehind(asker))
    app = LeanDash(
        "fitledger",
        scripted=[place for page in PAGES for view in page.views for place in view.scripted],
        title=TITLE,
        description=DESCRIPTION,
        update_title="",
        requests_pathname_prefix=prefix,
        routes_pathname_prefix=prefix,
        assets_folder=str(Path(__file__).with_name("assets")),
        assets_ignore=r".*\.txt$",
        serve_locally=True,
        suppress_callback_exceptions=True,
        index_string=_index(typeface.address(prefix), asker.settings),
        enable_mcp=False,
    )
    app.layout = lambda: app.still(_shell(desk, door), search_of(request.query_string.decode()))
    filter_bar.register(app)
    for page in PAGES:
        add_places(app, page, desk)
        for view in page.views:
            if view.register:
                view.register(app, desk)
    _register_shell(app, desk)
    _lead_on(app.server, desk.addresses)
    add_downloads(app.server, desk, PAGES)
    add_reports(app.server, desk)
    add_kept_views(app.server, desk)
    add_stopping(app.server, desk)
    add_entries(app.server, desk)
    add_guard(app.server, prefix, app.callback_map)
    Watched(asker).add_to(app.server)
    door.add_to(app.server)
    add_desk_gate(app.server, desk, DESK_PAGE)
    allow_hosts(app.server, serving.hosts, is_loopback=True)
    if serving.behind_proxy:
        trust_proxy(app.server)
    add_headers(app)
    add_compressing(app.server)
    add_request_log(app.server)
    door.notes.add_to(app.server, prefix)  # the last is the first to see an answer, so that its own gets the headers too
    return app


def _index(typeface_at: str, settings: Settings) -> str:
    """The page around the page."""
    parts = {"{%style%}": style_sheet(typeface_at), "{%typeface%}": typeface_at, "{%words%}": definitions.panel(settings)}
    index = _INDEX.read_text(encoding="utf-8")
    for name, part in parts.items():
        index = index.replace(name, part)
    return index


def _shell(desk: Desk, door: Door) -> html.Div:
    """The shell with the page that the request is for; callbacks tell what changes after it.

    Where the request names no page, the address is left to the browser, and callbacks tell all.
    """
    route = find_page(desk.addresses.path(request.path), pages_of(desk))
    pathname, search = (request.path, search_of(request.query_string.decode())) if route else (None, None)
    view, values = filter_bar.first_values(search)
    links, chosen, age, chips = _kept_query(desk, view, pathname)
    return html.Div(
        [
            dcc.Location(id=ids.URL, refresh=False, pathname=pathname, search=search),
            dcc.Store(id=ids.VIEW, data=view),
            dcc.Store(id=ids.THEME),
            html.A("Skip to the page", href=f"#{ids.PAGE_TITLE}", className="skip-link"),
            html.Header(
                [
                    html.Span(TITLE, className="mark-name"),
                    html.Nav(links, id=ids.NAVIGATION, **{"aria-label": "Pages"}),
                    html.Button("Words", id=definitions.BUTTON, className="button", **_OPENS_WORDS),
                    _signed_in(door, desk.addresses),
                    html.Button("Dark", id=ids.THEME_BUTTON, className="button theme-button"),
                ],
                className="top",
            ),
            html.Div(age, id=ids.AGE),
            filter_bar.filter_bar(
                _choices(desk.asker),
                values,
                chosen,
                chips,
                splits=bool(route and route[1].splits),
                kept=kept_views(desk.addresses, signs_in=bool(door.reader().name)),
                further=not door.reader().calls_only,
            ),
            html.Main(html.Div(frame(*route, desk.addresses, search) if route else None, id=ids.PAGE), id="main"),
            html.Footer(
                html.P("fitledger describes what followed in this studio's riders. It gives no medical advice."),
                className="foot",
            ),
        ]
    )


def _signed_in(door: Door, addresses: Addresses) -> html.Div | None:
    """Who is signed in, and the way out; nothing where nobody signs in."""
    reader = door.reader()
    if not reader.name:
        return None
    return html.Div(
        [
            html.Span(f"{reader.name}, {reader.role.replace('_', ' ')}"),
            html.Form(
                html.Button("Sign out", type="submit", className="button"), action=addresses.page("logout"), method="post"
            ),
        ],
        className="signed-in",
        **{"data-reader": door.reader_mark()},
    )


def _choices(asker: AskedBy) -> Choices:
    try:
        return asker.choices()
    except FitledgerError:
        # The page tells why there is nothing to choose from.
        return _NO_CHOICES


def pages_of(desk: Desk) -> tuple[Page, ...]:
    """The pages that the reader has: the front desk calls alone."""
    try:
        return (DESK_PAGE,) if desk.asker.reader().calls_only else PAGES
    except NotPermittedError:
        return PAGES  # each of which asks to sign in first


def _links(addresses: Addresses, selection: Selection, pages: Sequence[Page]) -> html.Ul:
    return html.Ul(
        [
            html.Li(dcc.Link(page.name, href=addresses.page(page.path_of(page.views[0]), query_for(page.path, selection))))
            for page in pages
        ]
    )


def _register_shell(app: Dash, desk: Desk) -> None:
    def show_page(pathname: str | None, search: str | None) -> Any:
        route = find_page(desk.addresses.path(pathname), pages_of(desk))
        return (frame(*route, desk.addresses, search), not route[1].splits) if route else (_no_page(desk.addresses), True)

    def keep_tabs(search: str | None, pathname: str | None) -> Any:
        route = find_page(desk.addresses.path(pathname), pages_of(desk))
        return view_tabs(*route, desk.addresses, search) if route else None

    def keep_query(search: str | None, pathname: str | None) -> Any:
        return _kept_query(desk, search, pathname)

    app.callback(
        Output(ids.PAGE, "children"),
        Output(ids.SPLIT, "hidden"),
        Input(ids.URL, "pathname"),
        State(ids.URL, "search"),
        prevent_initial_call=True,
    )(show_page)
    app.callback(Output(ids.TABS, "children"), Input(ids.VIEW, "data"), State(ids.URL, "pathname"), prevent_initial_call=True)(
        keep_tabs
    )
    app.callback(
        Output(ids.NAVIGATION, "children"),
        Output(ids.CHOSEN, "children"),
        Output(ids.AGE, "children"),
        Output(ids.CHIPS, "children"),
        Input(ids.VIEW, "data"),
        Input(ids.URL, "pathname"),
        prevent_initial_call=True,
    )(keep_query)
    app.clientside_callback(
        ClientsideFunction("fitledger", "theme"),
        Output(ids.THEME, "data"),
        Output(ids.THEME_BUTTON, "children"),
        Input(ids.THEME_BUTTON, "n_clicks"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("fitledger", "arrive"),
        Output(ids.PAGE, "className"),
        Input(ids.PAGE, "children"),
        Input(ids.NAVIGATION, "children"),
        State(ids.URL, "pathname"),
    )


def _kept_query(
    desk: Desk, search: str | None, pathname: str | None
) -> tuple[html.Ul, html.Ul | None, html.P | None, list[Any] | None]:
    """The links to the pages with the words of the selection, those words to be taken away one by one, the age of the data, and
    the spans of the calendar."""
    path, pages = desk.addresses.path(pathname), pages_of(desk)
    route = find_page(path, pages)
    try:
        view = read_view(search)
    except UsageError:
        return _links(desk.addresses, Selection(), pages), None, _age(desk, ""), None
    chosen = chosen_words(desk.addresses, path, view, splits=bool(route and route[1].splits))
    age = _age(desk, query_for(DATA_PATH, view.selection))
    return (
        _links(desk.addresses, view.selection, pages),
        chosen,
        age,
        _chips(desk, path, view, by_month=not route[0].path) if route else None,
    )


def _chips(desk: Desk, path: str, view: View, *, by_month: bool) -> list[Any] | None:
    try:
        # Of a fitter's own fits no day is left out.
        closed = None if view.selection.fitter else desk.asker.closed_day
        return period_chips(desk.addresses, path, view, desk.asker.freshness(), closed, by_month=by_month)
    except FitledgerError:
        # The page tells why nothing can be read.
        return None


def _age(desk: Desk, query: str) -> html.P | None:
    """How old the newest row is, where that is old; asked anew with every view, since a load or midnight changes it."""
    try:
        may_load = desk.asker.reader().may_load
        return age_note(desk.asker.freshness(), desk.addresses.page(DATA_PATH, query) if may_load else None)
    except FitledgerError:
        # The page tells why nothing can be read.
        return None


def find_page(path: str, pages: Sequence[Page] = ()) -> tuple[Page, PageView] | None:
    """The page and the view of a relative path, among all or some pages."""
    return next(((page, view) for page in pages or PAGES for view in page.views if page.path_of(view) == path), None)


def _lead_on(server: Flask, addresses: Addresses) -> None:
    """Sends an older address, a word of which has moved to a view, on to that view."""

    def lead_on() -> Any:
        route = find_page(addresses.path(request.path), PAGES) if request.method == "GET" else None
        if route is None or route[1].path:
            return None
        path = moved_to(route[0], request.args)
        return redirect(addresses.page(path, request.query_string.decode())) if path is not None else None

    server.before_request(lead_on)


def _no_page(addresses: Addresses) -> html.Div:
    return html.Div(
        [
            html.H1("There is no such page", id=ids.PAGE_TITLE, tabIndex=-1),
            html.P("This address leads to no page. Choose one of the pages above.", className="headline"),
            html.P(dcc.Link("To the first page", href=addresses.page(""))),
        ]
    )
