"""Mail servers for the tests: a real one that keeps what it is sent, and ones that refuse, drip or break off."""

import socket
import ssl
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from ipaddress import ip_address
from pathlib import Path
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, Envelope, LoginPassword, Session
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

PASSWORD = "correct horse"


class Kept:
    """Keeps what it is sent; `refuses` answers the address or the letter with a code."""

    def __init__(self, at: str = "", refuses: str = "") -> None:
        self.at, self.refuses = at, refuses
        self.letters: list[tuple[str, list[str], EmailMessage]] = []
        self.raw: list[bytes] = []
        self.was_encrypted: list[bool] = []

    async def handle_RCPT(self, _: Any, __: Session, envelope: Envelope, address: str, ___: Any) -> str:  # noqa: N802
        if self.at == "address":
            return self.refuses
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, _: Any, session: Session, envelope: Envelope) -> str:  # noqa: N802
        if self.at == "letter":
            return self.refuses
        content = envelope.content
        assert isinstance(content, bytes)
        letter = message_from_bytes(content, policy=policy.default)
        assert isinstance(letter, EmailMessage)
        self.raw.append(content)
        self.letters.append((envelope.mail_from or "", envelope.rcpt_tos, letter))
        self.was_encrypted.append(session.ssl is not None)
        return "250 taken"


def certificate(folder: Path) -> tuple[Path, ssl.SSLContext]:
    """A certificate of this machine, signed by itself: its file, and the context of a server that has it."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "mail of the tests")])
    now = datetime.now().astimezone()
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ip_address("127.0.0.1"))]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .sign(key, hashes.SHA256())
    )
    known, private = folder / "mail.pem", folder / "mail.key"
    known.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    private.write_bytes(
        key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    )
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(known, private)
    return known, context


@contextmanager
def mail_server(kept: Kept, context: ssl.SSLContext | None = None, *, asks_password: bool = False) -> Iterator[int]:
    """A mail server on this machine, at the port that it gives; with a context it takes STARTTLS and asks for it."""

    def signed_in(_: Any, __: Any, ___: Any, ____: str, given: Any) -> AuthResult:
        assert isinstance(given, LoginPassword)
        is_right = given.login == b"studio" and given.password == PASSWORD.encode()
        return AuthResult(success=is_right, handled=False)

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    more: dict[str, Any] = {"authenticator": signed_in, "auth_required": True} if asks_password else {}
    controller = Controller(
        kept, hostname="127.0.0.1", port=port, tls_context=context, require_starttls=context is not None, **more
    )
    controller.start()
    try:
        yield port
    finally:
        controller.stop()


@contextmanager
def spoken(*lines: bytes, drip_seconds: float = 0.0, ends: bool = True) -> Iterator[int]:
    """A server that says its lines, one a line that it is sent (the letter is one), and then ends or stays silent."""
    listener = socket.create_server(("127.0.0.1", 0))
    stop = threading.Event()

    def say(held: socket.socket, line: bytes) -> None:
        for at in range(len(line)):
            held.sendall(line[at : at + 1])
            if drip_seconds and stop.wait(drip_seconds):
                return

    def serve() -> None:
        held, _ = listener.accept()
        with held, held.makefile("rb") as heard:
            try:
                for line in lines:
                    say(held, line)
                    asked = heard.readline()
                    if line.startswith(b"354"):
                        while asked not in (b".\r\n", b""):
                            asked = heard.readline()
                while not ends and not stop.wait(0.05):
                    pass
            except OSError:
                return

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield listener.getsockname()[1]
    finally:
        stop.set()
        time.sleep(0)
        listener.close()
        thread.join(5)
