"""Who may talk to the server: its own pages, and with `--lan` those who were given the link.

A page of somebody else's site can send requests to a server on this machine; it cannot choose their Origin,
and a name that it points here shows in the Host. Both are checked, of plain requests and WebSockets alike.
"""

import hmac
from collections.abc import Collection
from http.cookies import CookieError, SimpleCookie
from typing import Final
from urllib.parse import parse_qs

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.websockets import WebSocketClose

_COOKIE: Final = "tonegen"
_LOOPBACK: Final = ("127.0.0.1", "localhost", "[::1]")
_REFUSED: Final = 4403


class Doorkeeper:
    """Lets pass what comes from the server's own pages.

    port : where the server listens; names : further host names that it is known by
    token : what a visitor must bring once, by link; None on loopback, where none is needed
    """

    def __init__(
        self, app: ASGIApp, port: int, names: Collection[str] = (), token: str | None = None
    ) -> None:
        """Wrap an application."""
        self._app = app
        self._hosts = {f"{name}:{port}" for name in (*_LOOPBACK, *names)}
        self._origins = {f"http://{host}" for host in self._hosts}
        self._token = token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, hand out the cookie, or pass on."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        fault = self._fault(scope, headers)
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        if fault:
            await _refuse(fault, 403, scope, receive, send)
        elif self._token is None or self._is_token(_cookie(headers)):
            await self._app(scope, receive, send)
        elif scope["type"] == "http" and self._is_token(given):
            welcome = RedirectResponse("/", 303)
            welcome.set_cookie(_COOKIE, given, httponly=True, samesite="strict", max_age=7 * 24 * 3600)
            await welcome(scope, receive, send)
        else:
            why = "open the link that tonegen printed, or scan its code"
            await _refuse(why, 401, scope, receive, send)

    def _fault(self, scope: Scope, headers: Headers) -> str:
        """What is foreign about a request; empty when nothing is."""
        hosts, origins = headers.getlist("host"), headers.getlist("origin")
        if len(hosts) != 1 or hosts[0].lower() not in self._hosts:
            return "this server does not go by that name"
        needs_origin = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        if len(origins) > 1 or (not origins and needs_origin):
            return "a page must say where it comes from"
        if origins and origins[0].lower() not in self._origins:
            return "pages from elsewhere may not use this server"
        return ""

    def _is_token(self, given: str) -> bool:
        return self._token is not None and hmac.compare_digest(given.encode(), self._token.encode())


def _cookie(headers: Headers) -> str:
    try:
        cookies = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    return cookies[_COOKIE].value if _COOKIE in cookies else ""


async def _refuse(why: str, status: int, scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await WebSocketClose(_REFUSED, why)(scope, receive, send)
    else:
        await PlainTextResponse(f"tonegen: {why}\n", status)(scope, receive, send)
