"""Who is let in, and what: stands before the page and refuses what does not belong there.

- A Host that is not one of ours is refused, so that a foreign name that resolves to
  this computer (rebinding) reaches nothing.
- What changes something must come from our own page: its Origin is ours.
- On a network only paired visitors get in; the computer itself always does.
- Bodies are bounded in size and in time.
- Every answer carries a content security policy and its companions.
"""

from __future__ import annotations

import asyncio
import datetime
import secrets
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any, Final

import attrs

from simrig.page.answers import Answers

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Message, Receive, Send], Awaitable[None]]

COOKIE: Final = "simrig-visitor"
MOST_BODY: Final = 256 * 1024
MOST_LOG: Final = 1024 * 1024
BODY_SECONDS: Final = 10.0
PAIRING_MINUTES: Final = 60
DAY: Final = datetime.timedelta(hours=24)
POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS: Final = (
    (b"content-security-policy", POLICY.encode("ascii")),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=()"),
)
_SAFE: Final = frozenset(("GET", "HEAD"))
_LOOPBACK: Final = frozenset(("127.0.0.1", "::1"))


@attrs.define(kw_only=True)
class Pairing:
    """Links that pair one phone each, and the phones that are paired.

    A link is good once, and for an hour.  The phone keeps a token of its own,
    which lets it in for a day; only a digest of it is kept here.
    """

    answers: Answers
    clock: Callable[[], datetime.datetime]
    _links: dict[str, datetime.datetime] = attrs.field(factory=dict, init=False)

    def link(self) -> str:
        """Return the token of a fresh link."""
        now = self.clock()
        self._links = {token: until for token, until in self._links.items() if until > now}
        token = secrets.token_urlsafe(24)
        self._links[token] = now + datetime.timedelta(minutes=PAIRING_MINUTES)
        return token

    def good(self, token: str) -> bool:
        """Whether a link can still be used."""
        return self._links.get(token, self.clock()) > self.clock()

    def pair(self, token: str) -> str | None:
        """Use a link up and return the token for the phone to keep; None for a link that is not good."""
        if not self.good(token):
            return None
        del self._links[token]
        kept = secrets.token_urlsafe(32)
        self.answers.admit(kept, until=self.clock() + DAY)
        return kept

    def admitted(self, token: str) -> bool:
        """Whether a phone's token lets it in."""
        return bool(token) and self.answers.admitted(token, now=self.clock())


class Guard:
    """The gate before an application; ``pairing`` is None where only this computer can reach it."""

    def __init__(self, app: App, *, hosts: Iterable[str], pairing: Pairing | None = None) -> None:
        self.app = app
        self.hosts = frozenset(host.lower() for host in hosts)
        self.pairing = pairing

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it in words."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        guarded = _with_headers(send)
        refused = self._refusal(scope)
        if refused is not None:
            await _refuse(guarded, *refused)
            return
        try:
            body = await _body(scope, receive)
        except _TooMuchError as error:
            await _refuse(guarded, *error.args)
            return
        await self.app(scope, _again(body, receive), guarded)

    def _refusal(self, scope: Message) -> tuple[int, str] | None:
        headers = scope["headers"]
        host = _only(headers, b"host")
        if host is None or host.lower() not in self.hosts:
            return 421, "This page is not served under that name."
        if scope["method"] not in _SAFE:
            if scope["method"] != "POST":
                return 405, "Only reading and posting are possible here."
            if _only(headers, b"origin") != f"http://{host}":
                return 403, "This was not sent by the page itself, so it is not taken."
        site = _only(headers, b"sec-fetch-site")
        mode = _only(headers, b"sec-fetch-mode")
        if site in ("cross-site", "same-site") and mode != "navigate":
            return 403, "Another site asked for this; it is not given."
        if not self._let_in(scope):
            return 401, (
                "This phone is not paired. Ask for a link at the computer where simrig page runs, "
                "or at a phone that is paired."
            )
        return None

    def _let_in(self, scope: Message) -> bool:
        if self.pairing is None:
            return True
        if scope["client"] is not None and scope["client"][0] in _LOOPBACK:
            return True
        if scope["path"].startswith("/pair/") or scope["path"] == "/static/page.css":
            return True
        return self.pairing.admitted(visitor_token(scope["headers"]))


def visitor_token(headers: Iterable[tuple[bytes, bytes]]) -> str:
    """Return the token that a visitor carries; empty where there is none."""
    for name, value in headers:
        if name == b"cookie":
            try:
                found = SimpleCookie(value.decode("latin-1"))
            except CookieError:
                continue
            if COOKIE in found:
                return found[COOKIE].value
    return ""


class _TooMuchError(Exception):
    """A body that is too long or too slow: a status and words."""


async def _body(scope: Message, receive: Receive) -> bytes:
    most = MOST_LOG if scope["path"].endswith("/log") else MOST_BODY
    stated = _only(scope["headers"], b"content-length")
    if stated is not None and (not stated.isdigit() or int(stated) > most):
        raise _TooMuchError(413, "That is too much at once.")
    if scope["method"] in _SAFE:
        return b""
    pieces: list[bytes] = []
    size = 0
    try:
        async with asyncio.timeout(BODY_SECONDS):
            while True:
                message = await receive()
                if message["type"] == "http.disconnect":
                    raise _TooMuchError(400, "The connection ended.")
                piece = message.get("body", b"")
                size += len(piece)
                if size > most:
                    raise _TooMuchError(413, "That is too much at once.")
                pieces.append(piece)
                if not message.get("more_body", False):
                    return b"".join(pieces)
    except TimeoutError:
        raise _TooMuchError(408, "That came too slowly.") from None


def _again(body: bytes, receive: Receive) -> Receive:
    """Hand out a body that was read already, then whatever comes."""
    left = [body]

    async def given() -> Message:
        if left:
            return {"type": "http.request", "body": left.pop(), "more_body": False}
        return await receive()

    return given


def _with_headers(send: Send) -> Send:
    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = list(message.get("headers", []))
            names = {name for name, _ in headers}
            headers += [pair for pair in HEADERS if pair[0] not in names]
            if b"cache-control" not in names:
                headers.append((b"cache-control", b"no-store"))
            message = {**message, "headers": headers}
        await send(message)

    return guarded


async def _refuse(send: Send, status: int, words: str) -> None:
    body = words.encode("utf-8")
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode("ascii")),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def _only(headers: Iterable[tuple[bytes, bytes]], name: bytes) -> str | None:
    """Return the value of a header that is there exactly once."""
    found = [value for known, value in headers if known == name]
    return found[0].decode("latin-1") if len(found) == 1 else None
