"""The doors of the page: who may ask what, and how much of it.

Pure request checks with no page behind them: host, origin, path, size and (on the local network) password. Everything
that is not on the short list of what the page itself needs is refused before the page's framework sees it.
"""

from __future__ import annotations

import asyncio
import base64
import binascii
import contextlib
import hmac
import os
import re
import sys
import time
from collections.abc import Awaitable, Callable, MutableMapping, Sequence
from typing import Any

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
AsgiApp = Callable[[Scope, Receive, Send], Awaitable[None]]

UPLOAD_LIMIT_BYTES = 60 * 1024 * 1024
"""One photograph; a 12-megapixel JPEG has about 5 MB."""
UPLOAD_PATH = "/snaps"
"""Where files come in, one a request."""
ORDINARY_LIMIT_BYTES = 2 * 1024 * 1024
"""A move of a slider or a set of brush strokes."""
BODY_GRACE_S = 20.0
SLOWEST_BYTES_S = 100_000.0
"""A request may take the grace and its length at this speed: a 12-megapixel snap 70 s."""
WRONG_PASSWORDS_ALLOWED = 8
WRONG_PASSWORD_PAUSE_S = 60.0

CONTENT_POLICY = "; ".join(
    (
        "default-src 'none'",
        "img-src 'self' data: blob:",
        "style-src 'self'",
        "script-src 'self'",
        "connect-src 'self' data:",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = (
    (b"content-security-policy", CONTENT_POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"geolocation=(), microphone=(), interest-cohort=()"),
)

PAGE_PATHS = ("/", "/favicon.ico")
PAGE_FOLDER = "/page/"
"""Style, scripts and the mark of the page."""
CALL_FOLDER = "/gradio_api/call/"
"""Where the page's calls go: the name of one, then the number of an answer that is waited for."""
START_PATH = "/gradio_api/startup-events"
"""Asked once by the server itself when it starts."""
_CALL = re.compile(r"[a-z_]{1,32}(/[0-9a-f]{8,64})?")


def path_is_open(path: str) -> bool:
    """Whether the page itself ever asks for this path."""
    if path in (UPLOAD_PATH, START_PATH, *PAGE_PATHS):
        return True
    if path.startswith(PAGE_FOLDER):
        return "/" not in path[len(PAGE_FOLDER) :] and ".." not in path
    return path.startswith(CALL_FOLDER) and _CALL.fullmatch(path[len(CALL_FOLDER) :]) is not None


def host_is_own(host: str, own_hosts: Sequence[str]) -> bool:
    """Whether a Host header names this page: one of `own_hosts`, with any port."""
    name = host.strip().lower()
    if name.startswith("["):
        name = name[: name.find("]") + 1]
    elif ":" in name:
        name = name.rsplit(":", 1)[0]
    return name in own_hosts


def origin_is_own(origin: str | None, host: str, fetch_site: str | None, writes: bool) -> bool:
    """Whether a request comes from the page itself.

    A browser names the origin of everything that writes; a writing request without one is not from the page.
    """
    if fetch_site is not None and fetch_site not in ("same-origin", "none"):
        return False
    if origin is None:
        return not writes
    scheme, _, netloc = origin.partition("://")
    return scheme in ("http", "https") and netloc.lower() == host.strip().lower()


def password_of(authorization: str | None) -> str | None:
    """The password in an HTTP Basic header (RFC 7617), or None."""
    kind, _, token = (authorization or "").partition(" ")
    if kind.lower() != "basic":
        return None
    try:
        pair = base64.b64decode(token, validate=True).decode("utf-8")
    except (binascii.Error, UnicodeDecodeError, ValueError):
        return None
    return pair.partition(":")[2]


class TooMuch(Exception):
    """A request body that grows over its limit while it arrives."""


class TooSlow(Exception):
    """A request body that takes longer than any connection of one's own network."""


class AccessControl:
    """ASGI middleware with all checks in one place.

    `own_hosts` are the names under which the page may be called. With `password`, every client but this machine
    itself must give it.
    """

    def __init__(
        self,
        app: AsgiApp,
        own_hosts: Sequence[str] = ("127.0.0.1", "localhost"),
        password: str | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.app = app
        self.own_hosts = tuple(host.lower() for host in own_hosts)
        self.password = password
        self.clock = clock
        self.wrong: dict[str, list[float]] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            # No part of the page speaks websocket.
            await send({"type": "websocket.close", "code": 1008})
            return
        header = {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}
        status, words = self.judge(scope, header)
        if status != 200:
            await self._refuse(send, status, words)
            return
        await self._pass_on(scope, receive, send, self._limit(scope["path"]))

    def judge(self, scope: Scope, header: MutableMapping[str, str]) -> tuple[int, str]:
        """Status and sentence for a request, before anything of its body is read."""
        host = header.get("host", "")
        writes = scope["method"] not in ("GET", "HEAD")
        if not host_is_own(host, self.own_hosts):
            return 400, "This page answers only under its own address."
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return 405, "This page knows only reading and posting."
        if not origin_is_own(header.get("origin"), host, header.get("sec-fetch-site"), writes):
            # Opening the page from a link elsewhere is fine; using it from elsewhere is not.
            opens = scope["path"] == "/" and not writes and header.get("sec-fetch-mode") == "navigate"
            if not opens:
                return 403, "This page takes requests only from itself."
        if self.password is not None:
            status = self._check_password(scope, header.get("authorization"))
            if status != 200:
                return status, "Give the password that was chosen when the page was started."
        if not path_is_open(scope["path"]):
            return 404, "There is nothing here."
        length = header.get("content-length", "0")
        if not length.isdigit():
            return 400, "The length of the request is not a number."
        if int(length) > self._limit(scope["path"]):
            return 413, f"That is too large; one photograph may have {UPLOAD_LIMIT_BYTES // 1024**2} MB."
        return 200, ""

    @staticmethod
    def _limit(path: str) -> int:
        return UPLOAD_LIMIT_BYTES if path == UPLOAD_PATH else ORDINARY_LIMIT_BYTES

    def _check_password(self, scope: Scope, authorization: str | None) -> int:
        client = (scope.get("client") or ("", 0))[0]
        if client in ("127.0.0.1", "::1"):
            return 200
        now = self.clock()
        recent = [at for at in self.wrong.get(client, []) if now - at < WRONG_PASSWORD_PAUSE_S]
        if len(recent) >= WRONG_PASSWORDS_ALLOWED:
            return 429
        given = password_of(authorization)
        if given is not None and hmac.compare_digest(given.encode(), (self.password or "").encode()):
            self.wrong.pop(client, None)
            return 200
        if given is not None:
            if len(self.wrong) > 1000:
                self.wrong.clear()
            self.wrong[client] = [*recent, now]
        return 401

    async def _refuse(self, send: Send, status: int, words: str) -> None:
        headers = [(b"content-type", b"text/plain; charset=utf-8"), *HEADERS]
        if status == 401:
            headers.append((b"www-authenticate", b'Basic realm="irpreview", charset="UTF-8"'))
        await send({"type": "http.response.start", "status": status, "headers": headers})
        await send({"type": "http.response.body", "body": words.encode()})

    async def _pass_on(self, scope: Scope, receive: Receive, send: Send, limit: int) -> None:
        taken = 0
        started = whole = gone = False
        until = self.clock() + BODY_GRACE_S + self._length(scope) / SLOWEST_BYTES_S

        async def counted() -> Message:
            nonlocal taken, whole, gone
            if whole or is_this_machine(scope):
                message = await receive()
            else:
                message = await in_time(receive(), until - self.clock())
            gone = gone or message["type"] == "http.disconnect"
            if message["type"] == "http.request":
                whole = not message.get("more_body", False)
                taken += len(message.get("body", b""))
                if taken > limit:
                    raise TooMuch
            return message

        async def with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                kept = [pair for pair in message.get("headers", []) if pair[0].lower() not in dict(HEADERS)]
                message = {**message, "headers": [*kept, *HEADERS]}
            await send(message)

        try:
            await self.app(scope, counted, with_headers)
        except Exception as error:
            if os.environ.get("IRPREVIEW_DEBUG"):
                raise
            status, words = _told(error, gone)
            if status == 500:
                where = scope["path"] if path_is_open(scope["path"]) else "a page"
                print(f"irpreview: a request for {where} came to nothing ({type(error).__name__})", file=sys.stderr)
            with contextlib.suppress(Exception):  # whoever asked may be gone
                if started:
                    await send({"type": "http.response.body", "body": b""})
                else:
                    await self._refuse(send, status, words)

    @staticmethod
    def _length(scope: Scope) -> int:
        length = next((value for name, value in scope.get("headers", ()) if name.lower() == b"content-length"), b"0")
        return int(length) if length.isdigit() else 0


def is_this_machine(scope: Scope) -> bool:
    """Whether a request comes from the machine that shows the page."""
    return (scope.get("client") or ("", 0))[0] in ("127.0.0.1", "::1")


async def in_time(message: Awaitable[Message], seconds: float) -> Message:
    """The next part of a request; raises TooSlow where it does not come in time."""
    try:
        return await asyncio.wait_for(message, max(seconds, 0.0))
    except TimeoutError:
        raise TooSlow from None


def _told(error: Exception, gone: bool) -> tuple[int, str]:
    """Status and sentence for what went wrong on the way; 500 is told on the terminal as well."""
    if isinstance(error, TooMuch):
        return 413, "That is too large."
    if isinstance(error, TooSlow):
        return 408, "That took too long to arrive."
    if gone or type(error).__name__ == "ClientDisconnect":
        return 400, "It was broken off."
    return 500, "That did not work; try it again."
