"""Hands a letter to the mail server, or lays it into a folder; and says of every fault whether the letter may have gone."""

import os
import smtplib
import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from email.message import EmailMessage
from pathlib import Path
from typing import Final

from shared.errors import FitledgerError
from shared.files import OWNER_ONLY, put_new_in_place
from shared.settings_letters import Letters
from shared.working import working

PASSWORD_VARIABLE: Final = "FITLEDGER_MAIL_PASSWORD"
_NEEDS_NO_PASSWORD: Final = ""


class NotPostedError(FitledgerError):
    """The letter was not taken. `for_good`: no use in trying the same again; else it is tried later."""

    exit_code = 7

    def __init__(self, message: str, *, for_good: bool = False) -> None:
        super().__init__(message)
        self.for_good = for_good


class MayBePostedError(FitledgerError):
    """The letter was handed over whole and no answer came, so that it may have gone."""

    exit_code = 7


def post(message: EmailMessage, to: str, name: str, settings: Letters, folder: Path) -> str:
    """Sends the letter to one address, or lays it into the settings' folder as `name`; gives how, in words.

    folder: from which the paths of the settings are read. Raises NotPostedError, or MayBePostedError.
    """
    if not settings.server:
        return _laid(message, folder / settings.folder / name)
    _sent(message, to, settings, folder)
    return f"sent through {settings.server}"


def _laid(message: EmailMessage, file: Path) -> str:
    """Lays the letter into a folder, whole or not at all; one that lies there stays."""
    try:
        if not file.parent.is_dir():
            file.parent.mkdir(parents=True)
        if file.exists():
            return f"lies in {file.parent} already"  # of the same name is the same letter
        with working(file.parent) as beside:
            written = beside / file.name
            written.write_bytes(message.as_bytes())
            written.chmod(OWNER_ONLY)
            put_new_in_place(written, file)
    except OSError as fault:
        raise NotPostedError(f"{file.parent}: the letter could not be laid there ({fault.strerror or fault}).") from fault
    return f"laid into {file.parent}"


def _sent(message: EmailMessage, to: str, settings: Letters, folder: Path) -> None:
    password = _password(settings, folder)
    where = f"The mail server {settings.server}, port {settings.port},"
    has_begun = False
    try:
        with _connected(settings, folder) as smtp:
            if settings.user:
                smtp.login(settings.user, password)
            _require(smtp.mail(str(settings.sender)), where, "the sender")
            _require(smtp.rcpt(to), where, f"the address {to}")
            has_begun = True
            answer = smtp.data(message.as_bytes())
            has_begun = False
            _require(answer, where, "the letter")
    except smtplib.SMTPAuthenticationError as fault:
        raise NotPostedError(f"{where} does not take this user and password ({fault.smtp_code}).") from fault
    except smtplib.SMTPNotSupportedError as fault:
        raise NotPostedError(
            f"{where} offers no {'encryption' if settings.tls == 'starttls' else 'way to sign in'} ({fault})."
        ) from fault
    except smtplib.SMTPResponseException as fault:
        raise NotPostedError(
            f"{where} refused ({fault.smtp_code} {_words(fault.smtp_error)}).", for_good=fault.smtp_code >= 500
        ) from fault
    except ssl.SSLError as fault:
        if has_begun:
            raise MayBePostedError(f"{where} broke off after the letter was handed over.") from fault
        why = getattr(fault, "verify_message", "") or fault.reason or "no common form of TLS"
        raise NotPostedError(f"{where} could not be reached over TLS ({why}). Nothing was sent without it.") from fault
    except (OSError, smtplib.SMTPException) as fault:
        if has_begun:
            raise MayBePostedError(f"{where} gave no answer after the letter was handed over.") from fault
        raise NotPostedError(
            f"{where} could not be reached, or broke off ({getattr(fault, 'strerror', None) or fault})."
        ) from fault


@contextmanager
def _connected(settings: Letters, folder: Path) -> Iterator[smtplib.SMTP]:
    """A connection, encrypted before anything is said; it is ended once it has taken too long, however slow the server is."""
    context = ssl.create_default_context(cafile=str(folder / settings.certificate) if settings.certificate else None)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    place, seconds = (settings.server, settings.port), settings.answer_seconds
    smtp = (
        smtplib.SMTP_SSL(*place, timeout=seconds, context=context)
        if settings.tls == "tls"
        else smtplib.SMTP(*place, timeout=seconds)
    )
    watch = threading.Timer(settings.letter_seconds, _break_off, [smtp])
    watch.daemon = True
    watch.start()
    try:
        smtp.ehlo_or_helo_if_needed()
        if settings.tls == "starttls":
            smtp.starttls(context=context)
            smtp.ehlo()
        yield smtp
        with suppress(OSError, smtplib.SMTPException):
            smtp.quit()
    finally:
        watch.cancel()
        smtp.close()


def _break_off(smtp: smtplib.SMTP) -> None:
    held = smtp.sock
    if held is not None:
        with suppress(OSError):
            held.shutdown(socket.SHUT_RDWR)


def _require(answer: tuple[int, bytes], where: str, what: str) -> None:
    code, words = answer
    if code >= 400:
        raise NotPostedError(f"{where} does not take {what} ({code} {_words(words)}).", for_good=code >= 500)


def _words(said: bytes | str) -> str:
    """What a server said, as one short line: it is told by the doctor."""
    text = said.decode("ascii", "replace") if isinstance(said, bytes) else said
    return "".join(sign if sign.isprintable() else " " for sign in text)[:120]


def _password(settings: Letters, folder: Path) -> str:
    """From the file that the settings name, else from the environment; never told."""
    if not settings.user:
        return _NEEDS_NO_PASSWORD
    if settings.password_file:
        file = folder / settings.password_file
        try:
            found = file.read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError) as fault:
            raise NotPostedError(f"{file}: the mail server's password could not be read ({type(fault).__name__}).") from fault
        if not found or not found[0]:
            raise NotPostedError(f"{file}: expected the mail server's password in the first line.")
        return found[0]
    if password := os.environ.get(PASSWORD_VARIABLE):
        return password
    raise NotPostedError(
        f"No password for the mail server: name a file with [letters] password_file, or set {PASSWORD_VARIABLE} for fitledger."
    )
