"""The server as a user runs it, met by friends, strangers and broken pages."""

import csv
import http.client
import io
import json
import random
import resource
import signal
import socket
import subprocess
import sys
from contextlib import ExitStack

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from tests.page.running import RunningPage
from tests.page.visitor import frames_of
from tonegen.page.server import LARGEST_MESSAGE_BYTES

AB = {"do": "grip", "name": "A major A+B 3-4-5"}


def get(running, path, **headers):
    """A request with its path and headers exactly as given."""
    connection = http.client.HTTPConnection("127.0.0.1", running.port, timeout=20)
    connection.putrequest(headers.pop("method", "GET"), path, skip_host=True)
    for name, value in {"Host": running.host, **headers}.items():
        connection.putheader(name, value)
    connection.endheaders()
    response = connection.getresponse()
    body = response.read()
    connection.close()
    return response, body


def test_the_page_and_its_parts_come_from_the_package_and_forbid_all_else(running):
    response, body = get(running, "/")
    assert response.status == 200
    assert b"<title>tonegen</title>" in body
    policy = response.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert b"http://" not in body.replace(b"http://www.w3.org", b"")
    assert b"https://" not in body
    for name, kind in [
        ("sound/clock.js", "text/javascript"),
        ("static/style.css", "text/css"),
        ("static/icon.svg", "image/svg"),
    ]:
        response, _ = get(running, f"/{name}")
        assert (response.status, response.headers["content-type"].startswith(kind)) == (200, True)


@pytest.mark.parametrize(
    "path",
    [
        "/../server.py", "/../../../../etc/passwd", "/%2e%2e/server.py", "/..%2fserver.py",
        "/static/../server.py", "//etc/passwd", "/static/index.html", "/server.py", "/index.html/",
        "/play/part.py", "/sound/../server.py", "/main.js", "/index.html%00.js", "/.", "/engine",
        "/..\\server.py", "/index.html/../../engine.py",
        "/" + "../" * 40 + "etc/passwd",
    ],
)  # fmt: skip
def test_no_other_path_reaches_a_file(running, path):
    response, body = get(running, path)
    assert response.status == 404
    assert body == b"tonegen: there is no such page\n"


def test_pages_are_only_read(running):
    assert get(running, "/", method="POST")[0].status == 403
    assert get(running, "/", method="POST", Origin=f"http://{running.host}")[0].status == 405


def test_a_wrong_host_and_a_foreign_origin_are_refused(running):
    assert get(running, "/", Host="elsewhere.example")[0].status == 403
    assert get(running, "/", Origin="http://elsewhere.example")[0].status == 403
    for path in ("engine", "sound?rate=48000"):
        for origin in ("http://elsewhere.example", None):
            with (
                pytest.raises(InvalidStatus) as refused,
                connect(f"ws://{running.host}/{path}", origin=origin),
            ):
                pass
            assert refused.value.response.status_code == 403


def test_answers_are_a_table_for_pages_of_its_own_alone(running):
    """One address, without a choice of whose: a table of the person who answers at the page."""
    response, body = get(running, "/answers.csv")
    assert response.status == 404
    assert body == b"tonegen: no answers yet; open Ears first\n"
    with running.page() as page:
        page.ask("train", kind="purer", person="Ada, senior", trials=2, feedback=False)
        page.shown("ears", lambda shown: shown["asked"])
        page.ask("answer", number=0, choice=1)
        page.shown("ears", lambda shown: shown["asked"] and shown["asked"]["number"] == 1)
    response, body = get(running, "/answers.csv")
    (row,) = csv.DictReader(io.StringIO(body.decode()))
    assert (row["person"], row["kind"], row["answer"]) == ("Ada, senior", "purer", "1.0")
    assert response.headers["content-type"].startswith("text/csv")
    assert response.headers["cache-control"] == "no-store"
    assert response.headers["content-disposition"] == 'attachment; filename="answers.csv"'
    own = {"Origin": f"http://{running.host}"}
    assert get(running, "/answers.csv", method="POST", **own)[0].status == 405
    for strange in ({"Host": "elsewhere.example"}, {"Origin": "http://elsewhere.example"}):
        response, body = get(running, "/answers.csv", **strange)
        assert (response.status, b"Ada" in body) == (403, False)


def test_two_pages_see_the_same_and_a_late_one_too(running):
    with running.page() as one, running.page() as other:
        one.ask("grip", name="A major A+B 3-4-5")
        seen = [page.shown("view", lambda view: view["state"] == "A+B") for page in (one, other)]
        assert seen[0] == seen[1]
        other.ask("bar", fret=3.0)
        moved = one.shown("view", lambda view: view["bar"] == "fret 3")
        with running.page() as late:
            assert late.shown("view") == moved


def malformed(count):
    """Broken in every way that comes to mind, and at random, the same each time."""
    shuffled = random.Random(20261125)
    pieces = [
        "", "{", "null", "[]", "3", '"engage"', "{}", '{"do":1}', '{"do":"fly"}', '{"do":"engage"}',
        '{"do":"engage","change":"A"}', '{"do":"engage","change":"A","travel":"x"}',
        '{"do":"bar","fret":1e999}', '{"do":"engage","change":"A","travel":1,"also":2}',
        '{"do":"bar","fret":-1}', '{"do":"level","dbfs":99}', '{"do":"strings","strings":[-1]}',
        '{"do":"strings","strings":[65]}', '{"do":"strings","strings":"3"}',
        '{"do":"offset","string":5,"offset_cents":1e300}', '{"do":"grip","name":"' + "x" * 5000 + '"}',
        '{"do":"choose","instrument":"../../etc/passwd"}', '{"do":"choose","root":99}', "\x00", "NaN",
        '{"do":"scene","name":"../x"}', '{"do":"weigh","grip":"x","weight":-1}',
        '{"do":"unread","at":-1}', '{"do":"compare","between":["../x","equal"]}', '{"do":"meter","cents":0}',
        '{"do":"readlist","text":"string;cents"}', '{"do":"keepdrop","name":"../x"}',
        '{"do":"stand","changes":["ZZ"]}', '{"do":"read","string":8,"unit":"cents","value":"nan"}',
        '{"do":"step","at":0}', '{"do":"send","where":"midi x"}', '{"do":"receiver","name":"../mpe"}',
        "[" * 20000, '{"do":"undo"' * 500, b"\xff\xfe\x00", b"", bytes(range(256)),
    ]  # fmt: skip
    good = json.dumps({"do": "engage", "change": "A", "travel": 0.5})
    for number in range(count):
        if number < len(pieces):
            yield pieces[number]
        else:
            broken = list(good)
            for _ in range(shuffled.randint(1, 4)):
                broken[shuffled.randrange(len(broken))] = chr(shuffled.randrange(1, 0x250))
            broken[0] = shuffled.choice("[x\x01")
            yield "".join(broken)


def test_200_malformed_messages_are_answered_and_the_sound_plays_on(running):
    with running.page() as page, running.page() as other:
        other.connection.send(json.dumps(AB))
        other.ask("sound", on=True)
        before = other.shown("moment", lambda moment: moment["beats"])
        for message in malformed(200):
            page.connection.send(message)
            assert page.shown("fault")["text"]
        page.ask("engage", change="A", travel=1.0)
        assert page.shown("view")["state"] == "A+B"
        after = other.shown("moment", lambda moment: moment["frame"] > before["frame"])
        assert len(after["beats"]) == 3
        other.ask("sound", on=False)


def test_a_message_too_large_ends_that_page_only(running):
    with running.page() as page, running.page() as other:
        page.connection.send("x" * (LARGEST_MESSAGE_BYTES + 1))
        with pytest.raises(ConnectionClosed):
            page.shown("fault")
        other.ask("bar", fret=2.0)
        assert other.shown("view", lambda view: view["bar"] == "fret 2")


def opened_and_never_read(running):
    """A WebSocket that greets and then takes nothing from the line."""
    line = socket.socket()
    line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    line.connect(("127.0.0.1", running.port))
    greeting = [
        "GET /engine HTTP/1.1", f"Host: {running.host}", f"Origin: http://{running.host}",
        "Upgrade: websocket", "Connection: Upgrade", "Sec-WebSocket-Version: 13",
        "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==",  # RFC 6455, section 1.3
    ]  # fmt: skip
    line.sendall("\r\n".join([*greeting, "", ""]).encode())
    return line


def test_a_page_that_takes_nothing_holds_nobody_up(running):
    """Its messages are not piled up: what is newer replaces what it has not taken."""
    with opened_and_never_read(running) as stuck, running.page() as other:
        assert stuck.recv(12) == b"HTTP/1.1 101"
        before = running.resident_mb()
        for step in range(800):  # of some 14 kB each; the system itself holds 4 MB on the line
            other.ask("bar", fret=step % 24)
            assert other.shown("view", lambda view, fret=step % 24: view["fret"] == fret)
        assert running.resident_mb() < before + 3


@pytest.mark.long
def test_a_thousand_pages_open_and_close_and_nothing_leaks(running):
    with running.page() as other:
        other.connection.send(json.dumps(AB))
        other.ask("sound", on=True)
        other.shown("moment", lambda moment: moment["beats"])

        def visit():
            with running.page() as page:
                page.shown("view")

        for _ in range(100):  # what is made once is made
            visit()
        files, threads, memory = running.open_files(), running.threads(), running.resident_mb()
        for _ in range(900):
            visit()
        other.ask("ping", sent_ms=1.0)
        other.shown("pong")
        assert running.open_files() <= files + 2
        assert running.threads() <= threads
        assert running.resident_mb() < memory + 8
        first = other.shown("moment")["frame"]
        assert other.shown("moment", lambda moment: moment["frame"] > first)
        other.ask("sound", on=False)


def test_more_pages_than_anyone_needs_are_turned_away(running):
    pages = [running.page() for _ in range(64)]
    one_more = running.page()
    with pytest.raises(ConnectionClosed, match="Too many pages are open, 64 of them"):
        one_more.shown("view")
    for page in (*pages, one_more):
        page.close()


def test_sound_for_a_page_comes_block_by_block_and_goes_elsewhere_when_another_asks(running):
    address = f"ws://{running.host}/sound?rate=44100"
    origin = f"http://{running.host}"
    with connect(address, origin=origin) as first:
        first.send('{"next_frame": 0, "heard_frame": 0, "heard_at_ms": null}')
        at = 0
        for _ in range(2):
            begin, sound = frames_of(first.recv(timeout=20))
            assert begin == at
            at += len(sound)
        assert at == 22_050  # half a second is in hand
        with connect(address, origin=origin), pytest.raises(ConnectionClosed, match="moved elsewhere"):
            first.recv(timeout=20)


@pytest.mark.parametrize("wrong", ["rate=3", "rate=x", "", "rate=99999999"])
def test_a_loudspeaker_that_cannot_be_is_told_so(running, wrong):
    with (
        connect(f"ws://{running.host}/sound?{wrong}", origin=f"http://{running.host}") as speaker,
        pytest.raises(ConnectionClosed, match="sample rate"),
    ):
        speaker.recv(timeout=20)


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_a_restart_finds_everything_again(tmp_path, how):
    with RunningPage(tmp_path) as first:
        with first.page() as page:
            page.connection.send(json.dumps(AB))
            page.ask("offset", string=5, offset_cents=-7.0)
            left = page.shown("view", lambda view: view["undo"])
        first.end(how)
    with RunningPage(tmp_path) as again, again.page() as page:
        found = page.shown("view")
        for part in ("cells", "pairs", "state", "setting"):
            assert found[part] == left[part]


def test_a_port_that_is_taken_is_one_line(running):
    line = [sys.executable, "-c", "from tonegen.cli import main; main()", "page", "--no-browser"]
    ended = subprocess.run([*line, "--port", str(running.port)], capture_output=True, text=True)
    assert (ended.returncode, ended.stdout, ended.stderr.count("\n")) == (2, "", 1)
    assert f"port {running.port} cannot be used" in ended.stderr


def test_requests_that_are_never_finished_cost_nothing_and_keep_nobody_out(tmp_path):
    """1,300 at once, more than the system lets the program have open, from somebody without a link."""
    _, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(most, 4096), most))
    with RunningPage(tmp_path) as running, running.page() as open_before, ExitStack() as unfinished:
        resource.prlimit(running.process.pid, resource.RLIMIT_NOFILE, (1024, 1024))
        for _ in range(1300):
            line = unfinished.enter_context(socket.create_connection(("127.0.0.1", running.port), timeout=20))
            line.sendall(b"GET / HTTP/1.1\r\nHost: ")
        assert get(running, "/")[0].status == 200
        with running.page() as late:
            late.shown("view")
        open_before.ask("bar", fret=2.0)
        open_before.shown("view", lambda view: view["bar"] == "fret 2")
        assert running.open_files() < 300
        running.process.send_signal(signal.SIGTERM)
        _, complaints = running.process.communicate(timeout=20)
    assert "NIOSH" in complaints
    assert complaints.count("\n") == 1, "the caution, and no report of what could not be taken"
