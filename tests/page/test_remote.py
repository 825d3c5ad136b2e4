"""OSC into the page over real sockets: it moves what all pages show, is answered, and is off at the start.

Packets are put together here from the sentences of the OSC 1.0 specification, not by the program.
"""

import json
import socket
import struct

import pytest

from tests.page.running import RunningPage

ATOMS = {str: ("s", lambda text: osc_string(text)), float: ("f", lambda x: struct.pack(">f", x)),
         int: ("i", lambda x: struct.pack(">i", x))}  # fmt: skip


def osc_string(text):
    """Text, a null, and "0-3 additional null characters", so that the bits are a multiple of 32."""
    data = text.encode() + b"\0"
    return data + b"\0" * (-len(data) % 4)


def packet(address, *arguments):
    """An address pattern, a type tag string, and the arguments."""
    tags = "".join(ATOMS[type(each)][0] for each in arguments)
    return osc_string(address) + osc_string(f",{tags}") + b"".join(ATOMS[type(x)][1](x) for x in arguments)


def texts(data):
    """The address of a packet and its arguments, which are all strings."""
    parts = [part.decode() for part in data.split(b"\0") if part]
    assert parts[1] == "," + "s" * (len(parts) - 2)
    return parts[0], parts[2:]


def free_udp_port():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture
def visitor(running):
    with running.page() as visitor:
        visitor.ask("release")
        visitor.ask("bar", fret=0)
        visitor.ask("choose", temperament="equal", root=-1)
        yield visitor
        visitor.ask("sound", on=False)
        visitor.ask("oscin", port=None)
        visitor.shown("remote", lambda remote: remote["port"] is None)


@pytest.fixture
def controller(visitor):
    """Sends packets to the port that the page listens at, and gives what is answered."""
    port = free_udp_port()
    visitor.ask("oscin", port=port)
    shown = visitor.shown("remote", lambda remote: remote["port"] == port)
    assert f"127.0.0.1:{port}" in shown["words"]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as foot:
        foot.settimeout(20)

        def send(address, *arguments):
            foot.sendto(packet(address, *arguments), ("127.0.0.1", port))
            return texts(foot.recv(65_536))

        yield send


def state(answered):
    address, (text,) = answered
    assert address == "/tonegen/state"
    return json.loads(text)


def test_a_foot_controller_moves_pedals_bar_and_temperament_of_the_page(controller, visitor):
    assert state(controller("/tonegen/engage", "A", 0.5))["travels"] == {"A": 0.5}
    visitor.shown("view", lambda view: view["playing"]["travels"] == {"A": 0.5})
    assert state(controller("/tonegen/engage", "B"))["travels"] == {"A": 0.5, "B": 1.0}
    assert state(controller("/tonegen/release", "A"))["travels"] == {"B": 1.0}
    assert state(controller("/tonegen/fret", 3.5))["fret"] == 3.5
    visitor.shown("view", lambda view: view["playing"]["fret"] == 3.5)
    found = state(controller("/tonegen/temperament", "quarter-comma-meantone", "Eb"))
    assert (found["root"], found["instrument"]) == ("D#", state(controller("/tonegen/state"))["instrument"])
    assert state(controller("/tonegen/temperament", "five-limit-just"))["root"] == "E"
    visitor.shown("view", lambda view: view["undo"] == "temperament five-limit-just")


def test_a_controller_plays_a_grip_and_ends_it(controller, visitor):
    assert state(controller("/tonegen/play", "3,4,5"))["playing"] == ["3,4,5"]
    view = visitor.shown("view", lambda view: view["playing"]["sounding"])
    assert view["playing"]["strings"] == [3, 4, 5]
    visitor.ask("tones", low="A3", high="E4")
    visitor.ask("heartones", on=True)
    visitor.shown("view", lambda view: view["playing"]["two_tones"])
    assert state(controller("/tonegen/state"))["playing"] == ["A3", "E4"]
    assert state(controller("/tonegen/stop"))["playing"] == []
    visitor.shown("view", lambda view: not view["playing"]["sounding"])


def test_a_controller_ends_the_sound_and_all_notes(controller, visitor):
    controller("/tonegen/play", "3,4,5")
    assert state(controller("/tonegen/panic"))["playing"] == []
    visitor.shown("view", lambda view: not view["playing"]["sounding"])


def test_a_controller_goes_to_the_songs_of_the_set_list(controller, visitor):
    visitor.ask("savesong", name="Invented Waltz", key=7)
    visitor.shown("view", lambda view: view["songs"])
    told = state(controller("/tonegen/song", "Invented Waltz"))
    assert (told["song"], told["fret"]) == ("Invented Waltz", 3.0)
    visitor.shown("view", lambda view: view["fret"] == 3.0)
    assert state(controller("/tonegen/fret", 5))["song"] is None
    visitor.ask("forgetsong", name="Invented Waltz")
    visitor.shown("view", lambda view: not view["songs"])


@pytest.mark.parametrize(("message", "why"), [
    (("/tonegen/engage", "no such pedal"), "no such pedal"), (("/tonegen/engage", "A", 7.0), "7"),
    (("/tonegen/fret", -1), "-1"), (("/tonegen/fret", float("nan")), "finite"),
    (("/tonegen/temperament", "../../etc/passwd"), "no temperament"), (("/tonegen/play", 440.0), "440"),
    (("/tonegen/temperament", "equal", "H"), "H"), (("/tonegen/play", "3,4", "5,6"), "one grip"),
    (("/tonegen/song", "Waltz"), "no song"), (("/tonegen/nothing",), "there is no /tonegen/nothing"),
])  # fmt: skip
def test_what_cannot_be_meant_is_answered_and_moves_nothing(controller, visitor, message, why):
    before = state(controller("/tonegen/state"))
    address, (of, said) = controller(*message)
    assert (address, of) == ("/tonegen/error", message[0])
    assert why in said
    assert "\n" not in said
    assert state(controller("/tonegen/state")) == before


def test_it_ends_when_it_is_switched_off_and_the_port_is_free_again(controller, visitor, running):
    with running.page() as another:
        port = another.shown("remote")["port"]
    visitor.ask("oscin", port=None)
    assert visitor.shown("remote", lambda remote: remote["port"] is None)["words"] == ""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", port))


def test_a_port_that_is_taken_is_said_and_the_one_before_stays(controller, visitor):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
        visitor.ask("oscin", port=port)
        said = visitor.shown("fault")["text"]
    assert f"127.0.0.1:{port}" in said
    assert "in use" in said
    assert state(controller("/tonegen/fret", 2))["fret"] == 2


@pytest.mark.parametrize("port", [0, 80, 70_000, "9001"])
def test_a_port_that_cannot_be_is_refused(visitor, port):
    visitor.ask("oscin", port=port)
    assert "not understood" in visitor.shown("fault")["text"]
    visitor.ask("oscin", port=None)


def test_it_is_off_again_after_a_restart_though_it_was_on_at_the_end(tmp_path):
    port = free_udp_port()
    with RunningPage(tmp_path) as first, first.page() as visitor:
        visitor.ask("oscin", port=port)
        visitor.shown("remote", lambda remote: remote["port"] == port)
    with (
        RunningPage(tmp_path) as second,
        second.page() as visitor,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free,
    ):
        visitor.shown("view")
        free.bind(("127.0.0.1", port))
