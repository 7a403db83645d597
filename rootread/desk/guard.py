"""Who may speak to the desk: this machine's own page, with this run's token, and in bounded amounts.

A page anywhere on the web can send requests to a local server. So the name
the browser used (``Host``) must be this machine, where the request came from
(``Origin``) must be the desk itself, and everything but the page's own files
needs the token that the terminal printed, in a header that a foreign page
cannot set without asking first.
"""

import hmac
import ipaddress
import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlsplit

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from rootread.errors import BadRequest

TOKEN_HEADER = "x-desk-token"
OPEN_PATHS = ("/", "/page/")
"""The page's own files hold no secret; the token comes to them behind the address's #, never sent."""
LARGEST_BODY = 8 * 2**20
LARGEST_PHOTO = 200 * 2**20
PHOTO_PATH = "/api/photos"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' blob: data:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)


class TooLarge(BadRequest):
    """A body went over its bound while it came in."""


class Guard:
    """ASGI middleware that turns away whatever does not come from the desk's own page."""

    def __init__(self, app: ASGIApp, token: str, loopback_only: bool = True) -> None:
        self._app = app
        self._token = token
        self._loopback_only = loopback_only

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        headers = {
            name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]
        }
        refusal = self._refusal(scope, headers)
        if refusal:
            await _refuse(send, *refusal)
            return
        bound = LARGEST_PHOTO if scope["path"] == PHOTO_PATH else LARGEST_BODY

        async def guarded_send(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", []), *_safe_headers(scope["path"])]}
            await send(message)

        await self._app(scope, _bounded(receive, bound), guarded_send)

    def _refusal(self, scope: Scope, headers: Mapping[str, str]) -> tuple[int, str] | None:
        host = headers.get("host", "")
        if not self._is_here(host):
            return 403, "The desk answers only to the address that the terminal printed."
        origin = headers.get("origin")
        if origin is not None and origin != f"http://{host}":
            return 403, "This request comes from another page."
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return 403, "This request comes from another page."
        if not _is_open(scope["path"]):
            given = headers.get(TOKEN_HEADER, "")
            if not hmac.compare_digest(given.encode(), self._token.encode()):
                return 401, "Open the desk with the whole address that the terminal printed."
        bound = LARGEST_PHOTO if scope["path"] == PHOTO_PATH else LARGEST_BODY
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > bound:
            return 413, f"That is more than {bound // 2**20} MB."
        return None

    def _is_here(self, host: str) -> bool:
        """Whether a Host names this machine by number or as localhost: no other name is ever taken."""
        name = urlsplit(f"//{host}").hostname if host else None
        if name == "localhost":
            return True
        try:
            address = ipaddress.ip_address(name or "")
        except ValueError:
            return False
        return address.is_loopback or not self._loopback_only


def _is_open(path: str) -> bool:
    return path == OPEN_PATHS[0] or path.startswith(OPEN_PATHS[1])


def _bounded(receive: Receive, bound: int) -> Receive:
    taken = 0

    async def bounded() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > bound:
            raise TooLarge(f"That is more than {bound // 2**20} MB.", "Send a smaller file.")
        return message

    return bounded


def _safe_headers(path: str) -> list[tuple[bytes, bytes]]:
    headers: dict[str, Any] = {
        "content-security-policy": POLICY,
        "x-content-type-options": "nosniff",
        "referrer-policy": "no-referrer",
        "cross-origin-resource-policy": "same-origin",
        "cross-origin-opener-policy": "same-origin",
        "cache-control": "no-cache" if _is_open(path) else "no-store",
    }
    return [(name.encode(), value.encode()) for name, value in headers.items()]


async def _refuse(send: Send, status: int, cause: str) -> None:
    body = json.dumps({"cause": cause, "remedy": ""}).encode()
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
