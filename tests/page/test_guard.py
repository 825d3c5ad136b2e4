"""Who is let in: the table of hosts, origins and tokens."""

import asyncio

import pytest

from tonegen.page.guard import Doorkeeper

PORT = 8427
OWN, TABLET = f"127.0.0.1:{PORT}", f"192.0.2.7:{PORT}"
TOKEN = "a-token-of-this-run"


def answer(guard, kind, headers, query="", method="GET"):
    """What comes back: the status of a page, or the code with which a WebSocket is closed."""
    sent = []

    async def app(scope, receive, send):
        sent.append({"passed": True})

    guard._app = app
    scope = {
        "type": kind, "method": method, "path": "/", "query_string": query.encode(), "scheme": "http",
        "server": ("127.0.0.1", PORT), "root_path": "",
        "headers": [(name.encode(), value.encode()) for name, value in headers],
    }  # fmt: skip

    async def receive():
        return {"type": "websocket.connect"}

    async def send(message):
        sent.append(message)

    asyncio.run(guard(scope, receive, send))
    return sent[0]


def passes(*asked, **guarded):
    return answer(Doorkeeper(None, PORT, **guarded), *asked).get("passed", False)


@pytest.mark.parametrize(
    ("kind", "headers", "let_in"),
    [
        ("http", [("host", OWN)], True),
        ("http", [("host", f"localhost:{PORT}")], True),
        ("http", [("host", f"LOCALHOST:{PORT}")], True),
        ("http", [("host", f"[::1]:{PORT}")], True),
        ("http", [("host", OWN), ("origin", f"http://{OWN}")], True),
        ("websocket", [("host", OWN), ("origin", f"http://{OWN}")], True),
        ("http", [], False),
        ("http", [("host", "127.0.0.1")], False),
        ("http", [("host", f"elsewhere.example:{PORT}")], False),  # a name pointed at this machine
        ("http", [("host", OWN), ("host", "elsewhere.example")], False),
        ("http", [("host", f"127.0.0.1:{PORT + 1}")], False),
        ("http", [("host", OWN), ("origin", "http://elsewhere.example")], False),
        ("http", [("host", OWN), ("origin", "null")], False),
        ("websocket", [("host", OWN)], False),  # browsers always say
        ("websocket", [("host", OWN), ("origin", "null")], False),
        ("websocket", [("host", OWN), ("origin", f"https://{OWN}")], False),
        ("websocket", [("host", OWN), ("origin", f"http://127.0.0.1:{PORT + 1}")], False),
        ("websocket", [("host", OWN), ("origin", f"http://{OWN}.elsewhere.example")], False),
        ("websocket", [("host", OWN), ("origin", f"http://{OWN}"), ("origin", "http://elsewhere")], False),
        ("http", [("host", TABLET)], False),
    ],
)
def test_only_its_own_pages_are_let_in(kind, headers, let_in):
    assert passes(kind, headers) is let_in


def test_who_asks_for_work_must_say_where_he_comes_from():
    guard = Doorkeeper(None, PORT)
    assert answer(guard, "http", [("host", OWN)], method="POST")["status"] == 403
    assert answer(guard, "http", [("host", OWN), ("origin", "null")], method="POST")["status"] == 403
    assert answer(guard, "http", [("host", OWN), ("origin", f"http://{OWN}")], method="POST").get("passed")


def test_what_is_refused_is_told_why_and_never_passed_on():
    guard = Doorkeeper(None, PORT)
    assert answer(guard, "http", [("host", "elsewhere.example")])["status"] == 403
    assert answer(guard, "websocket", [("host", "elsewhere.example")])["code"] == 4403


@pytest.mark.parametrize("host", [OWN, TABLET])
def test_in_the_network_the_link_is_needed_once_and_then_the_cookie(host):
    guard = Doorkeeper(None, PORT, [TABLET.partition(":")[0]], TOKEN)
    own = [("host", host), ("origin", f"http://{host}")]
    assert answer(guard, "http", own)["status"] == 401
    assert answer(guard, "http", own, "token=another")["status"] == 401
    assert answer(guard, "websocket", own, f"token={TOKEN}")["code"] == 4403

    welcome = answer(guard, "http", own, f"token={TOKEN}")
    headers = {name.decode(): value.decode() for name, value in welcome["headers"]}
    assert (welcome["status"], headers["location"]) == (303, "/")
    assert "httponly" in headers["set-cookie"].lower()
    assert "samesite=strict" in headers["set-cookie"].lower()

    cookie = ("cookie", headers["set-cookie"].partition(";")[0])
    for kind in ("http", "websocket"):
        assert answer(guard, kind, [*own, cookie]).get("passed")
        assert not answer(guard, kind, [*own, ("cookie", "tonegen=another")]).get("passed")
        assert not answer(guard, kind, [("host", "elsewhere.example"), cookie]).get("passed")
