"""Real MIDI ports, a real guard: what is sent arrives, and is taken back however the program ends."""

import queue
import signal
import socket
import time

import pytest

from tests.keys.listener import Listener
from tests.keys.rig import Ear
from tonegen.keys.plan import plan
from tonegen.keys.ports import MidiInput, MidiOutput
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_temperament
from tonegen.presets import temperament

pytestmark = pytest.mark.usefixtures("midi_system")
MEANTONE = scale_of_temperament(temperament("quarter-comma-meantone"))


@pytest.fixture
def send(start):
    tuned = ("keys", "send", "--temperament", "quarter-comma-meantone", "--out", "stage pi", "--receiver")
    return lambda name, *more: start(*tuned, name, *more)


@pytest.mark.parametrize("name", ["twelve-channel-bend", "mpe", "channel-tuning", "mts-single-note"])
def test_a_receiver_is_tuned_and_put_back(send, ear, name):
    made = plan(MEANTONE, receiver(name))
    program = send(name, "--seconds", "0.3")

    assert ear.take(len(made.messages)) == list(made.messages)
    assert ear.take(len(made.undo)) == list(made.undo)
    assert program.wait(20) == 0


@pytest.mark.parametrize("ending", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT], ids=lambda one: one.name)
def test_the_guard_puts_it_back_whatever_ends_the_program(send, ear, ending):
    made = plan(MEANTONE, receiver("mts-single-note"))
    program = send("mts-single-note")
    heard = ear.take(len(made.messages))
    program.stderr.readline()  # it says that it is tuned

    ended_at = time.perf_counter()
    program.send_signal(ending)
    heard += (undo := ear.take(len(made.undo)))
    put_back_at = time.perf_counter()
    program.wait(20)

    assert undo == list(made.undo)
    assert put_back_at - ended_at < 20  # the benchmark reports how long it takes
    listener = Listener()
    for message in heard:
        listener.send(message)
    assert [listener.pitch_cents(1, key) for key in range(1, 127)] == pytest.approx(
        [100 * key for key in range(1, 127)]
    )


def test_a_receiver_that_comes_back_is_tuned_again(send, ear):
    made = plan(MEANTONE, receiver("mts-octave"))
    program = send("mts-octave")
    ear.take(len(made.messages))
    program.stderr.readline()

    ear.close()  # the cable is out
    assert "gone" in program.stderr.readline()
    back = Ear("Stage Piano")
    assert back.take(len(made.messages)) == list(made.messages)
    assert "back, and tuned" in program.stderr.readline()

    program.kill()
    assert back.take(len(made.undo)) == list(made.undo), "the guard found it as well"
    back.close()
    program.wait(20)


def test_a_virtual_port_is_put_back_too(start):
    """It belongs to the guard, since it would vanish with the program."""
    made = plan(MEANTONE, receiver("mts-octave"))
    program = start(
        "keys", "through", "--virtual-in", "Keys In", "--virtual-out", "Keys Out", "--receiver", "mts-octave",
        "--temperament", "quarter-comma-meantone",
    )  # fmt: skip
    program.stderr.readline()
    arrived = queue.Queue()
    source = MidiInput("Keys Out", arrived.put)
    player = MidiOutput("Keys In")
    player.send(b"\x90\x3c\x40")
    assert arrived.get(timeout=20) == b"\x90\x3c\x40"

    program.kill()
    assert [arrived.get(timeout=20) for _ in made.undo] == list(made.undo)
    program.wait(20)
    player.close()
    source.close()


def test_notes_pass_through_retuned(start, ear):
    made = plan(MEANTONE, receiver("mpe"))
    program = start(
        "keys", "through", "--virtual-in", "Keys", "--out", "Stage Piano", "--receiver", "mpe",
        "--temperament", "quarter-comma-meantone",
    )  # fmt: skip
    listener = Listener()
    for message in ear.take(len(made.messages)):
        listener.send(message)
    program.stderr.readline()
    player = MidiOutput("Keys")
    for key in (60, 64, 67):
        player.send(bytes((0x90, key, 80)))
    player.send(b"\xb0\x07\x64")
    for message in ear.until(b"\xb0\x07\x64")[0]:
        listener.send(message)

    assert {key for _, key in listener.sounding()} == {60, 64, 67}
    for channel, key in listener.sounding():
        assert listener.pitch_cents(channel, key) == pytest.approx(
            100 * key + MEANTONE.class_cents[key % 12], abs=0.02
        )
    program.send_signal(signal.SIGINT)
    for message in ear.until(made.undo[-1])[0]:
        listener.send(message)
    assert listener.sounding() == set()
    assert program.wait(20) == 0
    player.close()


def test_pedals_by_midi_move_the_scale(start, ear):
    """Controller 20 is pedal A: the E of the C chord at fret 8 goes where string 5 then stands."""
    program = start(
        "keys", "through", "--virtual-in", "Keys", "--out", "Stage Piano", "--receiver", "mts-octave",
        "--instrument", "e9-ten-string", "--temperament", "five-limit-just", "--fret", "3", "--changes", "",
        "--pedal", "20=A",
    )  # fmt: skip
    first = ear.take(1)[0]
    program.stderr.readline()
    player = MidiOutput("Keys")
    player.send(b"\xb0\x14\x7f")
    second = ear.take(1)[0]

    assert (first[:8], len(first)) == (second[:8], len(second))
    assert first != second
    program.send_signal(signal.SIGINT)
    assert program.wait(20) == 0
    player.close()


def test_reset_by_hand(start, ear):
    made = plan(MEANTONE, receiver("twelve-channel-bend"))
    assert start("keys", "reset", "--out", "Stage", "--receiver", "twelve-channel-bend").wait(20) == 0

    assert ear.take(len(made.undo)) == list(made.undo)


def test_ports_are_listed_and_missing_ones_named(tonegen, ear):
    assert any("Stage Piano" in name for name in tonegen("tonegen keys ports --json").json["outputs"])
    why = tonegen.refused("tonegen keys send --receiver mpe --out Organ", code=3)
    assert why.startswith('there is no MIDI output called "Organ"; there are "')
    assert "Stage Piano" in why
    other = Ear("Stage Organ")
    assert "several MIDI outputs match" in tonegen.refused(
        "tonegen keys reset --receiver mpe --out stage", code=3
    )
    other.close()
    why = tonegen.refused("tonegen keys through --in Nope --out Piano --receiver mts-octave", code=3)
    assert 'no MIDI input called "Nope"' in why


def test_an_osc_receiver_is_put_back_after_a_kill(start):
    made = plan(MEANTONE, receiver("osc-per-class"))
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listener:
        listener.bind(("127.0.0.1", 0))
        listener.settimeout(20)
        program = start(
            "keys", "send", "--temperament", "quarter-comma-meantone", "--receiver", "osc-per-class",
            "--to", f"127.0.0.1:{listener.getsockname()[1]}",
        )  # fmt: skip
        assert [listener.recv(65536) for _ in made.messages] == list(made.messages)
        program.kill()
        assert [listener.recv(65536) for _ in made.undo] == list(made.undo)


def test_two_receivers_share_a_port(start, ear, tmp_path):
    """A piano tuned by key on channel 1, and an organ by octave on channel 2."""
    for name, text in (
        ("piano", 'means = "key tuning"\nmessage = "single note"\nselect = [1]'),
        ("organ", 'means = "octave tuning"\nchannels = [2]'),
    ):
        (tmp_path / f"{name}.toml").write_text(f'title = "{name}"\n{text}\n')
    piano, organ = (plan(MEANTONE, receiver(str(tmp_path / f"{name}.toml"))) for name in ("piano", "organ"))
    both = ("--receiver", str(tmp_path / "piano.toml"), "--receiver", str(tmp_path / "organ.toml"))
    start(
        "keys", "send", "--temperament", "quarter-comma-meantone", *both, "--out", "Stage", "--seconds", "0.1"
    )

    heard = ear.take(len(piano.messages) + len(organ.messages))
    assert heard == [*piano.messages, *organ.messages]
    assert sorted(ear.take(len(piano.undo) + len(organ.undo))) == sorted([*piano.undo, *organ.undo])


def test_a_keyboard_that_comes_back_plays_on(start, ear):
    keyboard = MidiOutput("Keyboard", virtual=True)
    made = plan(MEANTONE, receiver("mts-octave"))
    program = start(
        "keys", "through", "--in", "Keyboard", "--out", "Stage Piano", "--receiver", "mts-octave",
        "--temperament", "quarter-comma-meantone",
    )  # fmt: skip
    ear.take(len(made.messages))
    program.stderr.readline()
    keyboard.send(b"\x90\x3c\x40")
    assert ear.take(1) == [b"\x90\x3c\x40"]

    keyboard.close()
    assert "keyboard has gone" in program.stderr.readline()
    keyboard = MidiOutput("Keyboard", virtual=True)
    assert "keyboard is back" in program.stderr.readline()
    keyboard.send(b"\x90\x3e\x40")
    assert b"\x90\x3e\x40" in ear.until(b"\x90\x3e\x40")[0]
    keyboard.close()
