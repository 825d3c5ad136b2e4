"""A MIDI file retuned over HTTP: the bytes of the command line, what is said of them, and who may ask."""

import http.client
import socket
from math import log2
from urllib.parse import unquote

import pytest

from tests.page.running import RunningPage
from tests.page.song import cents_played, song


@pytest.fixture(scope="module")
def program(tmp_path_factory):
    with RunningPage(tmp_path_factory.mktemp("own")) as page:
        yield page


@pytest.fixture
def running(program):
    """The program, five-limit just on E at the open strings, for an MPE receiver."""
    with program.page() as visitor:
        visitor.ask("release")
        visitor.ask("bar", fret=0)
        visitor.ask("choose", temperament="five-limit-just")
        choose(visitor, "mpe")
    return program


def choose(visitor, receiver, follow=False):
    visitor.ask("receiver", name=receiver, policy="mean", follow=follow)
    visitor.shown("keys", lambda keys: (keys["receiver"], keys["follow"]) == (receiver, follow))


def asked(running, body, path="/retune", method="POST", **headers):
    connection = http.client.HTTPConnection("127.0.0.1", running.port, timeout=30)
    headers = {"Origin": f"http://{running.host}", **headers}
    connection.request(method, path, body, {key: value for key, value in headers.items() if value})
    response = connection.getresponse()
    content = response.read()
    connection.close()
    return response, content


@pytest.fixture
def on_the_command_line(tonegen, tmp_path):
    """What `keys file` makes of the song with the same rig, and what it says."""

    def made(*options, receiver="mpe"):
        (tmp_path / "in.mid").write_bytes(song())
        out = tmp_path / "out.mid"
        said = tonegen(
            f"tonegen keys file {tmp_path / 'in.mid'} {out} --instrument e9-ten-string --force "
            f"--temperament five-limit-just --receiver {receiver} {' '.join(options)}"
        )
        return out.read_bytes(), said.out.removeprefix(f"{out}: ") + said.err

    return made


@pytest.mark.parametrize("receiver", ["mpe", "twelve-channel-bend", "mts-octave"])
def test_the_page_makes_the_file_of_the_command_line_and_says_the_same(
    running, on_the_command_line, receiver
):
    with running.page() as visitor:
        choose(visitor, receiver)
    response, content = asked(running, song())
    assert response.status == 200
    assert response.headers["content-type"] == "audio/midi"
    assert response.headers["content-disposition"].startswith("attachment")
    assert response.headers["content-security-policy"]
    data, said = on_the_command_line(receiver=receiver)
    assert content == data
    assert unquote(response.headers["tonegen-told"]).splitlines() == said.splitlines()


def test_a_third_comes_out_pure(running):
    """5:4 and 3:2 above E at rest; over 3 semitones a step of the bend is 0.037 cents."""
    _, content = asked(running, song())
    found = cents_played(content, 3)
    assert found[68] - found[64] == pytest.approx(1200 * log2(5 / 4) - 400, abs=0.04)
    assert found[71] - found[64] == pytest.approx(1200 * log2(3 / 2) - 700, abs=0.04)


def test_the_file_is_for_the_rig_of_this_moment(running, on_the_command_line):
    """The keys part follows a moved bar a little later; a file does not wait for it."""
    with running.page() as visitor:
        visitor.ask("bar", fret=3)
        visitor.shown("view", lambda view: view["playing"]["fret"] == 3)
        _, content = asked(running, song())
    assert content == on_the_command_line("--fret", "3")[0]
    assert content != on_the_command_line()[0]


def test_what_cannot_be_retuned_is_one_line(running):
    for body, why in (
        (b"", "not a Standard MIDI File"), (b"RIFF" + bytes(40), "not a Standard MIDI File"),
        (song()[:-30], "cut"), (bytes(20_000_001), "larger than 20 MB"),
    ):  # fmt: skip
        response, content = asked(running, body)
        assert response.status == 400
        assert why in content.decode()
        assert content.count(b"\n") == 1
    with running.page() as visitor:
        choose(visitor, "osc-per-note")
    assert b"choose a receiver that is sent MIDI" in asked(running, song())[1]


def test_only_the_pages_own_may_ask(running):
    assert asked(running, song(), Origin="http://elsewhere.example")[0].status == 403
    assert asked(running, song(), Origin=None)[0].status == 403
    assert asked(running, song(), Host="elsewhere.example")[0].status == 403
    assert asked(running, song(), "/retune/song.mid")[0].status in (404, 405)
    assert asked(running, None, method="GET")[0].status == 404


def test_who_sends_half_a_song_holds_nobody_up(running):
    """The line is kept open, then cut; others are served meanwhile and after."""
    half = song()[:40]
    with socket.create_connection(("127.0.0.1", running.port)) as line:
        head = f"POST /retune HTTP/1.1\r\nHost: {running.host}\r\nOrigin: http://{running.host}\r\n"
        line.sendall(f"{head}Expect: 100-continue\r\nContent-Length: 1000\r\n\r\n".encode())
        assert line.recv(100).startswith(b"HTTP/1.1 100")  # it is being read now
        line.sendall(half)
        assert asked(running, song())[0].status == 200
    assert asked(running, song())[0].status == 200
