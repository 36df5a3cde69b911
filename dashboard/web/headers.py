"""Security headers on every response: nothing from elsewhere, no frame, no script that is not ours."""

from functools import cache
from typing import Final

from dash import Dash
from flask import Response, request

# Those of every response, refusals of the server itself included.
HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}
# Where a proxy speaks TLS, a browser that came once comes by TLS alone for two years.
_ONLY_BY_TLS: Final = "max-age=63072000"


def add_headers(app: Dash) -> None:
    """Adds the security headers. Call when every callback is registered; scripts are hashed at the first response."""

    @cache
    def policy() -> str:
        return "; ".join(
            (
                "default-src 'self'",
                f"script-src 'self' {' '.join(app.csp_hashes())}",
                "style-src 'self' 'unsafe-inline'",
                "img-src 'self' data: blob:",
                "font-src 'self' data:",
                "connect-src 'self'",
                "worker-src 'self' blob:",
                "frame-ancestors 'none'",
                "base-uri 'self'",
                "form-action 'self'",
                "object-src 'none'",
            )
        )

    def secure(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = policy()
        for name, value in HEADERS.items():
            response.headers[name] = value
        if request.is_secure:
            response.headers["Strict-Transport-Security"] = _ONLY_BY_TLS
        # The figures are a studio's own; no shared cache may keep them.
        if response.mimetype in ("text/csv", "application/json", "text/html"):
            response.headers["Cache-Control"] = "no-store"
        if response.mimetype == "font/woff2":
            # Its address holds a digest of it (figures/typeface.py).
            response.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        return response

    app.server.after_request(secure)
