"""A real guard: the receiver is put back, whatever ends the program."""

import queue
import signal
import socket

import pytest

from tests.jack import running_server
from tests.keys.listener import Listener
from tests.keys.rig import MEANTONE, Ear, tune_again, tuned
from tonegen.keys.live import Presence
from tonegen.keys.plan import plan
from tonegen.keys.ports import MidiInput
from tonegen.keys.receivers import receiver


@pytest.fixture
def sound_server(tmp_path):
    """Each test has a server of its own, out of step, since it kills programs that are at the server.

    In step, a server stops for two seconds when one is killed, and for good when another comes in meanwhile.
    Out of step, whoever is late in a period loses what came in it: so the periods are long.
    """
    with running_server(tmp_path, 8192, in_step=False) as server:
        yield server


@pytest.mark.parametrize("ending", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT], ids=lambda one: one.name)
def test_the_guard_puts_it_back_whatever_ends_the_program(send, ear, ending):
    made = plan(MEANTONE, receiver("mts-single-note"))
    program = send("mts-single-note")
    heard = ear.take(len(made.messages))
    program.stderr.readline()  # it says that it is tuned

    program.send_signal(ending)
    heard += (undo := ear.take(len(made.undo)))
    program.wait(20)

    assert undo == list(made.undo)
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
    assert "not connected" in program.stderr.readline()
    back = Ear("Stage Piano")
    assert back.take(len(made.messages)) == list(made.messages)
    assert "connected, and tuned" in program.stderr.readline()

    program.kill()
    assert back.take(len(made.undo)) == list(made.undo), "the guard found it as well"
    back.close()
    program.wait(20)


def test_a_virtual_port_is_put_back_too(start, plays_at):
    """It belongs to the guard, since it would vanish with the program."""
    made = plan(MEANTONE, receiver("mts-octave"))
    program = start(
        "keys", "through", "--virtual-in", "Keys In", "--virtual-out", "Keys Out", "--receiver", "mts-octave",
        "--temperament", "quarter-comma-meantone",
    )  # fmt: skip
    program.stderr.readline()
    arrived = queue.Queue()
    source = MidiInput("Keys Out", arrived.put)
    player = plays_at("Keys In")
    player.send(b"\x90\x3c\x40")
    assert arrived.get(timeout=20) == b"\x90\x3c\x40"

    program.kill()
    assert [arrived.get(timeout=20) for _ in made.undo] == list(made.undo)
    program.wait(20)
    player.close()
    source.close()


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


def test_a_virtual_port_whose_guard_is_killed_comes_back_tuned(midi_system):
    """The port was the guard's; the next guard makes it again."""
    made = plan(MEANTONE, receiver("mts-octave"))
    rig = tuned("virtual Keys Out", made)
    rig.guard._process.kill()
    rig.guard._process.wait(20)

    assert [*rig.look().values()] == [Presence.BACK]
    arrived = queue.Queue()
    source = MidiInput("Keys Out", arrived.put)
    tune_again(rig, made)
    assert [arrived.get(timeout=20) for _ in made.messages] == list(made.messages)
    rig.close()
    assert [arrived.get(timeout=20) for _ in made.undo] == list(made.undo)
    source.close()
