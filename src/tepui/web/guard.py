"""Who may ask: this machine by its own name, from its own pages; another one in the room only with the token.

Theory  A browser visits any page and that page may send it here: by a name that leads to this machine (the Host header
        tells) or from another origin (the Origin header tells). Both are refused before anything is read. What a page
        of ours may load is said in its policy: this machine's own files, no script in the text.
Source  [RFC9110] 7.2 and [RFC6454] for Host and Origin; W3C Content Security Policy level 3.
Holds   One server, one port. Within the room the token is a secret shared by a look at the screen, good for one
        device; it is not protection against one who listens: nothing is encrypted.
"""

import asyncio
import hmac
import secrets
from collections import deque
from collections.abc import Callable, Iterable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs, urlencode

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "tepui-reach"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; font-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
READING = ("GET", "HEAD")
MOST_FORM = 1 << 22
MOST_FILES = (1 << 30) + (1 << 20)
SILENCE_S = 60.0
MOST_DEVICES = 16  # let in from the room; the first is forgotten for the next


class Guard:
    """Refuses what does not come from a page of ours, and puts the policy on every answer.

    hosts  names with port under which this server may be asked, in small letters
    token  asked once of each device that is not this machine; None where only this machine can reach us
    told   hears the next token when one was used
    """

    def __init__(
        self, app: ASGIApp, *, hosts: Iterable[str], token: str | None, told: Callable[[str], None] | None = None
    ) -> None:
        self._app = app
        self._hosts = frozenset(hosts)
        self._token = token
        self._told = told
        self._let_in: deque[str] = deque(maxlen=MOST_DEVICES)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let through, or answer at once."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1008})
                return
            await refusal(scope, receive, _with_headers(send))
            return
        bounded = receive if scope["type"] == "websocket" else _bounded(Headers(scope=scope), receive)
        try:
            await self._app(scope, bounded, _with_headers(send))
        except ClientDisconnect:  # it went away in the middle of what it sent: there is nobody to answer
            return

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "").lower()
        if host not in self._hosts:
            return PlainTextResponse("This address is not one of this bench's own; use the one it printed.", 421)
        origin = headers.get("origin")
        changes = scope["type"] == "websocket" or scope["method"] not in READING
        if changes and origin is not None and origin.lower() != f"http://{host}":
            return PlainTextResponse("This was asked by another site's page and is refused.", 403)
        if changes and origin is None and headers.get("sec-fetch-site") not in (None, "same-origin", "none"):
            return PlainTextResponse("This was asked by another site's page and is refused.", 403)
        return self._without_token(scope, headers)

    def _without_token(self, scope: Scope, headers: Headers) -> Response | None:
        if self._token is None or _is_here(scope):
            return None
        if any(_same(_cookie(headers), known) for known in self._let_in):
            return None
        asked = parse_qs(scope.get("query_string", b"").decode("ascii", "replace"))
        if scope["type"] == "http" and scope["method"] == "GET" and _same((asked.get("token") or [""])[0], self._token):
            rest = {key: value for key, value in asked.items() if key != "token"}
            answer = RedirectResponse(scope["path"] + (f"?{urlencode(rest, doseq=True)}" if rest else ""), 303)
            self._let_in.append(secrets.token_urlsafe(24))
            answer.set_cookie(COOKIE, self._let_in[-1], httponly=True, samesite="strict", path="/")
            self._token = new_token()
            if self._told is not None:
                self._told(self._token)
            return answer
        return PlainTextResponse(
            "Open the address with the token that the bench printed last where it was started; each is good for one "
            "device.",
            403,
        )


def _bounded(headers: Headers, receive: Receive) -> Receive:
    """What is sent here, up to a bound and not without end: counted as it comes, whatever its head says."""
    most = MOST_FILES if headers.get("content-type", "").startswith("multipart/form-data") else MOST_FORM
    came = 0

    async def counted() -> Message:
        nonlocal came
        try:
            message = await asyncio.wait_for(receive(), SILENCE_S if came >= 0 else None)
        except TimeoutError as silent:
            raise HTTPException(408) from silent
        if message["type"] == "http.request":
            came += len(message.get("body", b""))
            if came > most:
                raise HTTPException(413)
            if not message.get("more_body", False):
                came = -1  # all is there; from now on only the end of the connection is waited for
        return message

    return counted


def new_token() -> str:
    """A word that nobody guesses."""
    return secrets.token_urlsafe(12)


def _same(given: str, token: str) -> bool:
    return hmac.compare_digest(given.encode(), token.encode())


def _is_here(scope: Scope) -> bool:
    client = scope.get("client")
    return client is not None and client[0] in ("127.0.0.1", "::1")


def _cookie(headers: Headers) -> str:
    try:
        kept = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return kept.value if kept is not None else ""


def _with_headers(send: Send) -> Send:
    async def told(message: Message) -> None:
        if message["type"] == "http.response.start":
            present = {name.lower() for name, _ in message["headers"]}
            message["headers"] = [
                *message["headers"],
                *((name.encode(), value.encode()) for name, value in HEADERS.items() if name.encode() not in present),
            ]
        await send(message)

    return told
