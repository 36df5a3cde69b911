"""The second step of signing in: a code that an authenticator app makes from a shared secret and the time (TOTP, RFC 6238 over
HOTP, RFC 4226), by pyotp; recovery codes for a lost phone; and the drawing by which an app takes the secret over, by segno."""

import hashlib
import hmac
import io
import secrets
from dataclasses import dataclass
from typing import Final

import pyotp
import segno

STEP_SECONDS: Final = 30
# A clock may be a step ahead or behind (RFC 6238, section 5.2).
STEPS_OFF: Final = 1
RECOVERY_CODES: Final = 10
_ISSUER: Final = "fitledger"
# Without letters and digits that are read for one another.
_SIGNS: Final = "abcdefghjkmnpqrstuvwxyz23456789"
_HALF: Final = 5


@dataclass(frozen=True)
class SecondStep:
    """What an account keeps of it: the secret, the step of the code that was used last, and marks of the unused recovery
    codes."""

    secret: str
    last_step: int
    recovery: tuple[str, ...]


def new_secret() -> str:
    """A secret of 160 bits in base 32, the length that RFC 4226 recommends."""
    return pyotp.random_base32(32)


def address(name: str, secret: str) -> str:
    """The secret as an app takes it over."""
    return pyotp.TOTP(secret).provisioning_uri(name=name, issuer_name=_ISSUER)


def drawing(content: str) -> str:
    """The same as a QR code, as an SVG element; its colours are those of the style sheet."""
    file = io.BytesIO()
    segno.make(content, error="m").save(
        file, kind="svg", xmldecl=False, svgns=False, nl=False, omitsize=True, svgclass="qr", lineclass="qr-line"
    )
    return file.getvalue().decode("utf-8")


def matched_step(secret: str, code: str, now: float, after: int = -1) -> int | None:
    """The step of time whose code this is, of the present one and its neighbours; None where there is none, or where it is not
    later than `after`, so that a code is good once (RFC 6238, section 5.2)."""
    totp, present = pyotp.TOTP(secret), int(now // STEP_SECONDS)
    digits = "".join(code.split())
    steps = [
        step
        for step in range(present - STEPS_OFF, present + STEPS_OFF + 1)
        if hmac.compare_digest(totp.generate_otp(max(0, step)).encode(), digits.encode("utf-8", errors="replace"))
    ]
    return next((step for step in steps if step > after), None)


def new_recovery_codes() -> list[str]:
    """Codes that each stand for one code of the app, about 49 bits each."""

    def half() -> str:
        return "".join(secrets.choice(_SIGNS) for _ in range(_HALF))

    return [f"{half()}-{half()}" for _ in range(RECOVERY_CODES)]


def recovery_mark(key: bytes, code: str) -> str:
    """What is kept of a recovery code; a keyed digest, since the codes are drawn by chance and not by people."""
    return hmac.new(key, "".join(code.lower().replace("-", " ").split()).encode("utf-8"), hashlib.sha256).hexdigest()
