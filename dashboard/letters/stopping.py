"""The end of a letter by its reader: a signed link in each, a page with one button, and what mail programs post themselves."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from flask import Flask, Response, render_template_string, request
from itsdangerous import BadData, URLSafeSerializer

from dashboard.components.faults import told
from dashboard.components.page import Desk
from dashboard.figures.theme import style_sheet
from dashboard.figures.typeface import address as address_of_typeface
from dashboard.web.downloads import status_of
from shared.logbook.letters import LetterReader, Letters
from shared.settings_letters import Letters as LetterSettings

PATH: Final = "letters/stop"
_TEMPLATE: Final = Path(__file__).with_name("stop.html").read_text(encoding="utf-8")
_WRONG: Final = "This link belongs to no letter of this studio. Nothing was changed. Ask whoever looks after fitledger here."


def stop_address(book: Letters, reader: LetterReader, settings: LetterSettings) -> str:
    """The address at which a reader ends the letter; without a dashboard's address, a mail to its sender."""
    if not settings.address:
        return f"mailto:{settings.sender}?subject=No%20more%20letters"
    return f"{settings.address}{PATH}?token={_signer(book.secret()).dumps(reader.number)}"


def reader_of(book: Letters, token: str) -> LetterReader | None:
    """The reader whose letter a link ends; None where the link is not one of ours."""
    secret = book.known_secret()
    if not secret:
        return None
    try:
        number = _signer(secret).loads(token)
    except BadData:
        return None
    return book.numbered(number) if isinstance(number, int) else None


def add_stopping(server: Flask, desk: Desk) -> None:
    """Adds `letters/stop`: a look changes nothing, since programs look at links before readers do; a post ends the letter."""
    book = Letters(desk.asker.path)

    def page(words: str, *, token: str = "", code: int = 200) -> Response:
        style = style_sheet(address_of_typeface(desk.addresses.prefix))
        return Response(
            render_template_string(_TEMPLATE, words=words, token=token, prefix=desk.addresses.prefix, path=PATH, style=style),
            code,
        )

    def stop() -> Response:
        token = request.args.get("token", "")
        try:
            reader = reader_of(book, token)
            if reader is None:
                return page(_WRONG, code=404)
            if request.method == "POST" and not reader.has_stopped:
                book.set_stopped(reader, datetime.now(UTC), stopped=True)
            if request.method == "POST" or reader.has_stopped:
                return page(
                    "No more letters come to your address in this role. Whoever looks after fitledger can start them again."
                )
            return page("Shall no more of these letters come to your address?", token=token)
        except Exception as fault:
            return page(told(fault), code=status_of(fault))

    server.add_url_rule(f"{desk.addresses.prefix}{PATH}", PATH, stop, methods=["GET", "POST"])


def _signer(secret: bytes) -> URLSafeSerializer:
    return URLSafeSerializer(secret, salt="letters")
