"""OSC over real sockets: what comes in turns the knobs, and every packet is answered."""

import json
import socket

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonegen.errors import BadValue, NoSuchDevice
from tonegen.keys.desk import Desk
from tonegen.keys.osc import Message, decode, encode
from tonegen.keys.osc_port import ADDRESSES, OscInput, OscOutput, answer, parse_address
from tonegen.keys.receivers import receiver
from tonegen.presets import instrument, temperament
from tonegen.setup.rig import Rig
from tonegen.setup.setting import Song


class Speakers:
    def __init__(self):
        self.hz = {}

    def play(self, hz):
        self.hz = dict(hz)

    def glide(self, hz):
        assert hz.keys() == self.hz.keys()
        self.hz = dict(hz)

    def stop(self):
        self.hz = {}


def desk(**more):
    plans = []
    e9 = instrument("e9-ten-string")
    made = Desk({"One": receiver("osc-per-key")}, Rig(e9, temperament("five-limit-just").on(e9.root)), **more)
    made.changed = lambda them: plans.append(them["One"])
    return made, plans


@pytest.fixture
def rig():
    made, plans = desk(songs=(Song("Waltz", 7),))
    made.sounder = Speakers()
    source = OscInput(made)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as player:
        player.settimeout(20)

        def ask(address, *arguments):
            player.sendto(encode(Message(address, arguments)), ("127.0.0.1", source.port))
            (reply,) = decode(player.recv(65536))
            return reply

        yield ask, made, plans, player, source
    source.close()


def test_a_foot_controller_turns_every_knob(rig):
    ask, made, plans, _, _ = rig

    assert json.loads(ask("/tonegen/state").arguments[0])["fret"] == 0
    state = json.loads(ask("/tonegen/engage", "A", 0.5).arguments[0])
    assert state["travels"] == {"A": 0.5}
    assert json.loads(ask("/tonegen/engage", "A").arguments[0])["travels"] == {"A": 1.0}
    assert json.loads(ask("/tonegen/release", "A").arguments[0])["travels"] == {}
    assert json.loads(ask("/tonegen/fret", 3).arguments[0])["fret"] == 3
    assert json.loads(ask("/tonegen/song", "Waltz").arguments[0])["song"] == "Waltz"
    state = json.loads(ask("/tonegen/temperament", "quarter-comma-meantone", "Eb").arguments[0])
    assert (state["temperament"], state["root"]) == ("quarter-comma-meantone", "D#")
    assert len(plans) == 6, "each change made a plan"
    state = json.loads(ask("/tonegen/play", "A4", "E major 4-5-6", 440).arguments[0])
    assert state["playing"] == ["A4", "E major 4-5-6", "440.0"]
    assert list(made.sounder.hz) == ["A4", "string 4", "string 5", "string 6", "440.0"]
    assert made.sounder.hz["A4"] == pytest.approx(made.scale().hz[69])
    assert made.sounder.hz["440.0"] == 440
    before = made.sounder.hz
    ask("/tonegen/engage", "A")
    assert {name for name, hz in made.sounder.hz.items() if hz != before[name]} >= {"string 5"}
    ask("/tonegen/song", "Waltz")
    silenced = []
    made.silenced = lambda: silenced.append(True)
    assert json.loads(ask("/tonegen/panic").arguments[0])["playing"] == []
    assert (made.sounder.hz, silenced) == ({}, [True])
    ask("/tonegen/play", "A4")
    assert json.loads(ask("/tonegen/stop").arguments[0])["playing"] == []
    assert made.sounder.hz == {}


@pytest.mark.parametrize(
    ("address", "arguments", "says"),
    [
        ("/tonegen/engage", ("Z",), 'has no change "Z"'),
        ("/tonegen/engage", ("A", 1.5), "cannot travel 1.5"),
        ("/tonegen/engage", ("A", 3e38), "cannot travel"),
        ("/tonegen/engage", (1, 1), "1 is not text"),
        ("/tonegen/engage", (), "takes change, travel 0 to 1"),
        ("/tonegen/fret", (99,), "fret 99 is off the neck"),
        ("/tonegen/fret", ("three",), "not a finite number"),
        ("/tonegen/temperament", ("nonesuch",), 'no temperament called "nonesuch"'),
        ("/tonegen/temperament", ("/etc/hostname",), 'no temperament called "/etc/hostname"'),
        ("/tonegen/temperament", ("x" * 5000,), "see: tonegen list temperaments"),
        ("/tonegen/temperament", ("equal", "H"), '"H" is not the name of a note'),
        ("/tonegen/fret", (-1,), "fret -1 is off the neck"),
        ("/tonegen/engage", ("A", -0.1), "cannot travel -0.1"),
        ("/tonegen/play", ("4,99",), "has no string 99"),
        ("/tonegen/play", (0.0,), "0"),
        ("/tonegen/play", tuple(["A4"] * 17), "takes tones or grips"),
        ("/tonegen/song", (7,), "7 is not text"),
        ("/tonegen/song", ("Polka",), 'no song "Polka"; there are: Waltz'),
        ("/tonegen/play", (-1.0,), ""),
        ("/tonegen/loud", (), "there is no /tonegen/loud; there are /tonegen/engage"),
    ],
)
def test_what_is_out_of_range_is_answered_and_changes_nothing(rig, address, arguments, says):
    ask, made, plans, _, _ = rig
    before = made.state()
    reply = ask(address, *arguments)

    assert reply.address == "/tonegen/error"
    assert reply.arguments[0] == address
    assert says in reply.arguments[1]
    assert made.state() == before
    assert plans == []


@pytest.mark.parametrize(
    "bits", ["7fc00000", "7f800000", "ff800000"], ids=["nan", "infinite", "minus infinite"]
)
def test_a_number_that_is_none_is_answered(rig, bits):
    """Bytes that no honest sender makes, but that a float32 can hold."""
    _, made, plans, player, source = rig
    player.sendto(b"/tonegen/fret\0\0\0,f\0\0" + bytes.fromhex(bits), ("127.0.0.1", source.port))

    (reply,) = decode(player.recv(65536))
    assert reply.arguments[0] == "/tonegen/fret"
    assert "not a finite number" in reply.arguments[1]
    assert (made.hands.fret, plans) == (0, [])


def test_a_receiver_that_cannot_be_reached_is_answered_and_tuned_when_it_is_back():
    """The desk stands where it was put; the one who asked is told that the receiver did not hear of it."""
    made, _ = desk(songs=(Song("Waltz", 7),))

    def gone(plan):
        raise NoSuchDevice("the receiver has gone")

    made.changed = gone
    (reply,) = answer(encode(Message("/tonegen/song", ("Waltz",))), made)

    assert decode(reply)[0] == Message("/tonegen/error", ("/tonegen/song", "the receiver has gone"))
    assert made.state()["song"] == "Waltz"
    assert made.scale().name.endswith("fret 3")


def test_whatever_goes_wrong_the_next_packet_is_heard(rig):
    ask, made, _, _, _ = rig

    def broken(plan):
        raise RuntimeError("a device of another kind")

    made.changed = broken
    reply = ask("/tonegen/fret", 3)
    assert reply == Message("/tonegen/error", ("/tonegen/fret", "this went wrong: a device of another kind"))
    assert ask("/tonegen/state").address == "/tonegen/state"


def test_a_packet_that_is_no_osc_is_answered(rig):
    _, _, _, player, source = rig
    player.sendto(b"hello", ("127.0.0.1", source.port))

    (reply,) = decode(player.recv(65536))
    assert reply.address == "/tonegen/error"
    assert "not OSC" in reply.arguments[1]


values = st.one_of(
    st.integers(-(2**31), 2**31 - 1),
    st.floats(width=32, allow_nan=False),
    st.text(st.characters(blacklist_characters="\0", blacklist_categories=("Cs",)), max_size=5),
    st.binary(min_size=1, max_size=5),
)


@given(st.sampled_from(sorted(ADDRESSES)), st.lists(values, max_size=4))
@settings(max_examples=100, deadline=None)
def test_any_arguments_are_done_or_refused(address, arguments):
    made, _ = desk()
    try:
        packet = encode(Message(address, tuple(arguments)))
    except BadValue:
        return
    (reply,) = answer(packet, made)
    assert decode(reply)[0].address in ("/tonegen/state", "/tonegen/error")


@given(st.binary(max_size=100))
def test_any_bytes_are_answered(packet):
    made, _ = desk()
    assert all(decode(reply) for reply in answer(packet, made))


def test_addresses():
    assert parse_address("127.0.0.1:9000") == ("127.0.0.1", 9000)
    assert parse_address(":9000") == ("127.0.0.1", 9000)
    for text in ("9000", "host:", "host:x", "host:99999", "host:-1"):
        with pytest.raises(BadValue, match="write host and port"):
            parse_address(text)


def test_a_port_that_is_taken_and_a_host_that_is_not_there():
    made, _ = desk()
    first = OscInput(made)
    with pytest.raises(NoSuchDevice, match="OSC cannot be received at"):
        OscInput(made, port=first.port)
    first.close()
    with pytest.raises(NoSuchDevice, match="OSC cannot be sent to"):
        OscOutput("no.such.host.invalid", 9000)


def test_bound_to_loopback_unless_told_otherwise():
    made, _ = desk()
    source = OscInput(made)
    assert source._socket.getsockname()[0] == "127.0.0.1"
    source.close()


def free_port():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


def test_a_synthesizer_that_starts_later_is_seen(monkeypatch):
    """Nothing listens when the tuning is sent, then something does, then it ends and starts again."""
    now = [0.0]
    monkeypatch.setattr("tonegen.keys.osc_port.time.monotonic", lambda: now[0])
    port = free_port()
    out = OscOutput("127.0.0.1", port)
    for _ in range(3):
        out.send(encode(Message("/tune/key", (69, 440.0))))
    there = []
    for listens in (False, True, False, True):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as synthesizer:
            if listens:
                synthesizer.bind(("127.0.0.1", port))
            now[0] += 10
            out.is_there()
            out.send(encode(Message("/tune/key", (69, 440.0))))
            there.append(out.is_there())
    out.close()

    assert there == [False, True, False, True]


def test_a_synthesizer_asks_for_its_tuning_again(rig):
    ask, made, *_ = rig
    sent = []
    made.again = lambda: sent.append("all")
    assert ask("/tonegen/send-again").address == "/tonegen/state"
    assert sent == ["all"]
