"""The present sound as a file over HTTP: what it holds, who may ask, and that nothing is left behind."""

import http.client
import io
import json
import socket
import time

import numpy as np
import pytest
import soundfile

from tests.measure import beat_of
from tests.page.running import RunningPage

FOURTH = {"seconds": 4.0, "kind": "wav", "bits": "float"}


@pytest.fixture(scope="module")
def aside(tmp_path_factory):
    return tmp_path_factory.mktemp("aside")


@pytest.fixture(scope="module")
def program(tmp_path_factory, aside):
    with RunningPage(tmp_path_factory.mktemp("own"), environment={"TMPDIR": str(aside)}) as page:
        yield page


@pytest.fixture
def running(program):
    """The program, with a fourth under the hands that beats once a second."""
    with program.page() as visitor:
        visitor.ask("release")
        visitor.ask("strings", strings=[4, 5])
        visitor.shown("view", lambda view: len(view["pairs"]) == 1)
    return program


def asked(running, body, path="/render", method="POST", **headers):
    connection = http.client.HTTPConnection("127.0.0.1", running.port, timeout=30)
    headers = {"Origin": f"http://{running.host}", **headers}
    content = body if isinstance(body, bytes) else json.dumps(body).encode()
    connection.request(method, path, content, {key: value for key, value in headers.items() if value})
    response = connection.getresponse()
    content = response.read()
    connection.close()
    return response, content


def nothing_is_left(aside):
    """Wait until the last file is gone: that happens once its last byte is on its way."""
    until = time.monotonic() + 20
    while list(aside.iterdir()):
        assert time.monotonic() < until
        time.sleep(0.01)


@pytest.mark.parametrize(("kind", "bits", "subtype"), [
    ("wav", "float", "FLOAT"), ("wav", "16", "PCM_16"), ("flac", "24", "PCM_24"),
])  # fmt: skip
def test_the_file_holds_the_beat_that_the_page_shows(running, aside, kind, bits, subtype):
    """B3-E4 equal beats 1.116 a second: 3 * 329.6276 - 4 * 246.9417, at 988 Hz, by hand."""
    response, content = asked(running, {"seconds": 4.0, "kind": kind, "bits": bits})
    assert response.status == 200
    assert response.headers["content-type"] == f"audio/{kind}"
    assert f'filename="tonegen.{kind}"' in response.headers["content-disposition"]
    assert response.headers["content-security-policy"]
    with soundfile.SoundFile(io.BytesIO(content)) as file:
        assert (file.samplerate, file.channels, file.frames) == (48_000, 2, 4 * 48_000)
        assert (file.format, file.subtype) == (kind.upper(), subtype)
        sound = file.read()[:, 0]
    assert beat_of(sound[24_000:-24_000], 48_000, 988.0) == pytest.approx(1.116, abs=0.03)
    assert np.abs(sound).max() < 10 ** (-24 / 20)  # under the level that the page shows
    nothing_is_left(aside)


@pytest.mark.parametrize(("body", "why"), [
    ({**FOURTH, "seconds": 601.0}, "<= 600"), ({**FOURTH, "seconds": -1.0}, ">= 0.1"),
    ({**FOURTH, "kind": "mp3"}, "mp3"), ({**FOURTH, "kind": "flac"}, "no floats"),
    ({**FOURTH, "path": "/etc/passwd"}, "path"), (b"{", "truncated"), (b"", "truncated"),
    (b" " * 2000, "too large"), (b'{"seconds":NaN,"kind":"wav"}', "malformed"),
])  # fmt: skip
def test_what_cannot_be_meant_is_one_line(running, aside, body, why):
    response, content = asked(running, body)
    assert response.status == 400
    assert why in content.decode()
    assert content.count(b"\n") == 1
    assert str(aside).encode() not in content
    nothing_is_left(aside)


def test_another_sample_rate(running):
    _, content = asked(running, {**FOURTH, "sample_rate": 44_100})
    with soundfile.SoundFile(io.BytesIO(content)) as file:
        assert (file.samplerate, file.frames) == (44_100, 4 * 44_100)
    assert asked(running, {**FOURTH, "sample_rate": 8})[0].status == 400


def test_no_strings_no_file(running):
    with running.page() as visitor:
        visitor.ask("strings", strings=[])
        visitor.shown("view", lambda view: not view["pairs"] and not view["playing"]["strings"])
    assert asked(running, FOURTH)[1] == b"nothing would sound; tap the strings first\n"


def test_only_the_pages_own_may_ask(running):
    assert asked(running, FOURTH, Origin="http://elsewhere.example")[0].status == 403
    assert asked(running, FOURTH, Origin=None)[0].status == 403
    assert asked(running, FOURTH, Host="elsewhere.example")[0].status == 403
    assert asked(running, FOURTH, "/render/../render")[0].status in (404, 405)
    assert asked(running, b"", method="GET")[0].status == 404


def test_one_file_at_a_time_and_none_is_left_by_who_hangs_up(running, aside):
    """Ten minutes are asked for and the line is cut; a second one meanwhile is refused in a sentence."""
    body = json.dumps({"seconds": 600.0, "kind": "wav"}).encode()
    with socket.create_connection(("127.0.0.1", running.port)) as line:
        head = f"POST /render HTTP/1.1\r\nHost: {running.host}\r\nOrigin: http://{running.host}\r\n"
        line.sendall(f"{head}Content-Length: {len(body)}\r\n\r\n".encode() + body)
        until = time.monotonic() + 20
        while not any(aside.rglob("*.part*")):
            assert time.monotonic() < until
        assert "already" in asked(running, FOURTH)[1].decode()
    nothing_is_left(aside)
    assert asked(running, FOURTH)[0].status == 200


def test_what_a_killed_page_left_is_removed_when_the_next_file_is_asked_for(running, aside):
    left = aside / "tonegen-sound-left"
    left.mkdir()
    (left / "tonegen.wav").write_bytes(b"half")
    response, _ = asked(running, FOURTH)
    assert response.status == 200
    nothing_is_left(aside)
