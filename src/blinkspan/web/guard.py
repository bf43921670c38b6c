"""What may reach the page at all: the right host, no foreign site, the token, a bounded body.

A page on this machine is within reach of every site its browser visits. Three
checks keep those out: the Host header must be ours (a foreign name that was
pointed at this machine, DNS rebinding, carries its own), a request that changes
anything must come from our own pages (Origin and Sec-Fetch-Site), and every
answer tells the browser to load and run nothing that is not ours.

References
----------
RFC 9110, 7.2 (Host) and RFC 6454 (the web origin).
W3C, "Content Security Policy Level 3", "Fetch Metadata Request Headers".
"""

import hmac
from collections.abc import Iterable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs, urlencode

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

TOKEN_COOKIE = "blinkspan_token"
UPLOADS = "/api/uploads"
MOST_BODY_BYTES = 2 * 2**20
MOST_UPLOAD_BYTES = 64 * 2**30  # an hour at 240 frames a second and 100 Mbit/s is 45 GB

_CHANGES_NOTHING = {"GET", "HEAD", "OPTIONS"}
_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob:",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}


class Guard:
    """Refuse what does not belong, before any route sees it."""

    def __init__(self, app: ASGIApp, hosts: Iterable[str], token: str | None) -> None:
        self._app = app
        self._hosts = frozenset(host.lower() for host in hosts)
        self._token = token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through with strict headers on the answer, or answer why not."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return  # there are no web sockets here
        answer = self._refusal(scope)
        target: ASGIApp = self._app if answer is None else answer
        await target(scope, _bounded(scope, receive), _strict(send))

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        if _name_of(headers.get("host", "")) not in self._hosts:
            return _refused(421, "this address is not one the page answers to; use the one printed")
        if foreign := self._foreign(scope["method"], headers):
            return _refused(403, foreign)
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > _most_bytes(scope):
            return _refused(413, "that is more than may be sent at once; add it from a folder")
        return None if self._token is None else self._without_token(scope, headers, self._token)

    def _foreign(self, method: str, headers: Headers) -> str | None:
        """Return why a request is held to come from a foreign site, or None."""
        origin = headers.get("origin")
        if origin is not None and origin.partition("://")[2] != headers.get("host"):
            return "this request came from another site and was refused"
        site = headers.get("sec-fetch-site", "none")
        if method not in _CHANGES_NOTHING and site not in ("same-origin", "none"):
            return "this request came from another site and was refused"
        if site == "cross-site" and headers.get("sec-fetch-mode") != "navigate":
            return "another site may not use what this page holds"
        return None

    def _without_token(self, scope: Scope, headers: Headers, token: str) -> Response | None:
        """Return the refusal of a request without the token, or where to go on with it."""
        query = parse_qs(scope["query_string"].decode("latin-1"))
        given = query.pop("token", [""])[0]
        if scope["method"] == "GET" and _same(given, token):
            rest = urlencode(query, doseq=True)
            onward = RedirectResponse(scope["path"] + (f"?{rest}" if rest else ""), 303)
            # the token leaves the address at once: addresses end in histories
            onward.set_cookie(TOKEN_COOKIE, token, httponly=True, samesite="strict")
            return onward
        kind, _, bearer = headers.get("authorization", "").partition(" ")
        if kind.lower() == "bearer" and _same(bearer, token):
            return None
        if _same(_cookie(headers, TOKEN_COOKIE), token):
            return None
        return _refused(401, "this page needs its token; open the whole address that was printed")


def _same(given: str, token: str) -> bool:
    return hmac.compare_digest(given.encode(), token.encode())


def _cookie(headers: Headers, name: str) -> str:
    try:
        morsel = SimpleCookie(headers.get("cookie", "")).get(name)
    except CookieError:
        return ""
    return "" if morsel is None else morsel.value


def _name_of(host: str) -> str:
    """Return a Host header's name without its port, in lower case."""
    host = host.lower()
    if host.startswith("["):
        return host.partition("]")[0].removeprefix("[")
    return host.partition(":")[0]


def _refused(status: int, why: str) -> Response:
    return JSONResponse({"error": why}, status) if status != 421 else PlainTextResponse(why, status)


def _most_bytes(scope: Scope) -> int:
    return MOST_UPLOAD_BYTES if scope["path"].startswith(UPLOADS) else MOST_BODY_BYTES


class TooMuch(Exception):
    """A body without a stated length grew beyond what may be sent."""


def _bounded(scope: Scope, receive: Receive) -> Receive:
    """Return a receiver that stops reading a body that turns out too long."""
    left = _most_bytes(scope)

    async def bounded() -> Message:
        nonlocal left
        message = await receive()
        left -= len(message.get("body", b""))
        if left < 0:
            raise TooMuch
        return message

    return bounded


def _strict(send: Send) -> Send:
    async def strict(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
            headers.setdefault("Cache-Control", "no-store")
        await send(message)

    return strict
