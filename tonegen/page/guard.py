"""Who may talk to the server: its own pages, and with `--lan` those who were given the link.

A page of somebody else's site can send requests to a server on this machine; it cannot choose their Origin,
and a name that it points here shows in the Host. Both are checked, of plain requests and WebSockets alike.
"""

import hmac
from collections.abc import Callable, Collection
from http.cookies import CookieError, SimpleCookie
from typing import Final
from urllib.parse import parse_qs

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.websockets import WebSocketClose

_COOKIE: Final = "tonegen"
_CLASS_COOKIE: Final = "tonegen-class"
_CLASS_DOOR: Final = "/classroom"
_CLASS_PAGE: Final = "/classroom/phone.html"
# All that a phone of a class may reach: its page and what that needs, never the engine.
_OF_THE_CLASS: Final = frozenset({
    _CLASS_PAGE, "/classroom/phone.js", "/classroom/listen", "/classroom/sound.wav", "/classroom/lesson.wav",
    "/ears/doing.js", "/ears/graph.js", "/ears/ladder.js", "/ears/step.js", "/static/parts.js",
    "/static/style.css", "/static/icon.svg",
})  # fmt: skip
_LOOPBACK: Final = ("127.0.0.1", "localhost", "[::1]")
_REFUSED: Final = 4403


class Doorkeeper:
    """Lets pass what comes from the server's own pages.

    port : where the server listens; names : further host names that it is known by
    token : what a visitor must bring once, by link; None on loopback, where none is needed
    class_token : gives what a phone of the class must bring, for its own page alone; "" while there is none
    """

    def __init__(
        self,
        app: ASGIApp,
        port: int,
        names: Collection[str] = (),
        token: str | None = None,
        class_token: Callable[[], str] = str,
    ) -> None:
        """Wrap an application."""
        self._app = app
        self._hosts = {f"{name}:{port}" for name in (*_LOOPBACK, *names)}
        self._origins = {f"http://{host}" for host in self._hosts}
        self._token = token
        self._class_token = class_token

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
        elif scope["path"] == _CLASS_DOOR and self._is_of_class(given):
            await _welcome(_CLASS_PAGE, _CLASS_COOKIE, given, scope, receive, send)
        elif self._is_let_in(scope, headers):
            await self._app(scope, receive, send)
        elif scope["type"] == "http" and self._is_token(given):
            await _welcome("/", _COOKIE, given, scope, receive, send)
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

    def _is_let_in(self, scope: Scope, headers: Headers) -> bool:
        if self._token is None or self._is_token(_cookie(headers, _COOKIE)):
            return True
        return scope["path"] in _OF_THE_CLASS and self._is_of_class(_cookie(headers, _CLASS_COOKIE))

    def _is_of_class(self, given: str) -> bool:
        token = self._class_token()
        return bool(token) and hmac.compare_digest(given.encode(), token.encode())


async def _welcome(page: str, cookie: str, given: str, scope: Scope, receive: Receive, send: Send) -> None:
    welcome = RedirectResponse(page, 303)
    welcome.set_cookie(cookie, given, httponly=True, samesite="strict", max_age=7 * 24 * 3600)
    await welcome(scope, receive, send)


def _cookie(headers: Headers, name: str) -> str:
    try:
        cookies = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    return cookies[name].value if name in cookies else ""


async def _refuse(why: str, status: int, scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await WebSocketClose(_REFUSED, why)(scope, receive, send)
    else:
        await PlainTextResponse(f"tonegen: {why}\n", status)(scope, receive, send)
