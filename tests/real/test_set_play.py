"""A real rig of four in one command: played, gone on with by foot, and put back whatever ends it."""

import os
import select
import signal
import socket
import time

import pytest

from tests.jack import running_server
from tests.keys.listener import Listener
from tests.keys.rig import Ear
from tests.keys.test_left import family, killed_at_once
from tonegen.keys import journal
from tonegen.keys.midi import parse_tuning
from tonegen.keys.osc import decode
from tonegen.keys.ports import MidiOutput
from tonegen.keys.sets import set_plan
from tonegen.presets.sets import set_list

SET = """
title = "Invented: a rig of four"
[[receivers]]
name = "Piano"
receiver = "twelve-channel-bend"
port = "Stage piano"
[[receivers]]
name = "Organ"
receiver = "{organ}"
port = "Organ"
[[receivers]]
name = "Pad"
receiver = "mpe"
port = "Pad"
[[receivers]]
name = "Synthesizer"
receiver = "osc-per-note"
to = "127.0.0.1:{port}"
[[controls]]
from = "Foot board"
on = "control 80"
does = "next"
[[songs]]
name = "Waltz"
key = "C"
follows = {{ Piano = "equal", Organ = "equal", Pad = "equal", Synthesizer = "equal" }}
[[songs]]
name = "Polka"
key = "D"
follows = {{ Piano = "{just}", Organ = "{just}", Pad = "{just}", Synthesizer = "{just}" }}
"""
PORTS = {"Piano": "Stage piano", "Organ": "Organ", "Pad": "Pad"}


@pytest.fixture
def sound_server(tmp_path):
    """Out of step, since programs are killed that are at the server: see `test_keys_guard`."""
    with running_server(tmp_path, 8192, in_step=False) as server:
        yield server


class Stage:
    """The program with its rig: listeners at three ports and an address, a keyboard and a foot board."""

    def __init__(self, folder, start, plays_at, organ="mts-octave"):
        self.guards = []
        self.listening = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.listening.bind(("127.0.0.1", 0))
        self.listening.settimeout(20)
        file = folder / "night.toml"
        file.write_text(
            SET.format(
                port=self.listening.getsockname()[1], just="quarter-comma-meantone on key", organ=organ
            )
        )
        self.made = set_plan(set_list(str(file))).checked()
        self.ears = {name: Ear(port) for name, port in PORTS.items()}
        self.board = MidiOutput("Foot board", virtual=True)
        self.program = start("set", "play", str(file), "--virtual-in", "Keyboard")
        self.said = self.program.stderr.readline()
        self.tuned = {name: self.take(name, self.made.start(name)) for name in self.ears}
        self.keyboard = plays_at("Keyboard")

    def take(self, name, messages):
        heard = self.ears[name].take(len(messages))
        assert heard == list(messages)
        return heard

    def undone(self):
        """What each gets at the end, whole; in seconds since the call."""
        begun = time.perf_counter()
        for name, ear in self.ears.items():
            heard, _ = ear.until(self.made.undo(name)[-1])
            assert heard[-len(self.made.undo(name)) :] == list(self.made.undo(name))
        return time.perf_counter() - begun

    def kill(self):
        """kill -9; its guard ends later."""
        self.guards = [os.pidfd_open(pid) for pid in family(self.program.pid)[1:]]
        self.program.kill()
        self.program.wait(20)

    def close(self):
        for guard in self.guards:  # it sends twice, and an input that is closed meanwhile breaks RtMidi
            assert select.select([guard], [], [], 60)[0]
            os.close(guard)
        for ear in self.ears.values():
            ear.close()
        self.keyboard.close()
        self.board.close()
        self.listening.close()


@pytest.fixture
def stage(tmp_path, midi_system, start, plays_at):
    stage = Stage(tmp_path, start, plays_at)
    yield stage
    stage.close()


def test_four_receivers_go_on_together_and_one_ctrl_c_puts_them_back(stage):
    assert stage.said == "1 Waltz in C; next 2 Polka. Ctrl-C stops and puts all receivers back.\n"
    stage.keyboard.send(b"\x90\x40\x40")
    heard = {name: [*stage.tuned[name], *ear.until(note)[0]] for (name, ear), note in zip(
        stage.ears.items(), (b"\x94\x40\x40", b"\x90\x40\x40", b"\x91\x40\x40"), strict=True)}  # fmt: skip
    assert decode(stage.listening.recv(65536))[0].arguments[:1] == (64,)
    stage.keyboard.send(b"\x80\x40\x40")
    stage.board.send(b"\xb0\x50\x7f")
    line = stage.program.stderr.readline()
    while "Polka in D" not in line:
        line = stage.program.stderr.readline()
    for name, ear in stage.ears.items():
        if name == "Organ":  # silent two seconds after the note
            heard[name] += ear.until(stage.made.change(name, 0, 1)[-1])[0]
    stage.keyboard.send(b"\x90\x42\x40")
    assert decode(stage.listening.recv(65536))[0].address == "/note/off"
    assert decode(stage.listening.recv(65536))[0].arguments[0] == 66
    for name, ear in stage.ears.items():
        listener = Listener()
        while not (heard[name][-1][0] & 0xF0 == 0x90 and heard[name][-1][1] == 66):
            heard[name].append(ear.next()[1])
        for message in heard[name]:
            listener.send(message)
        _, _, pitch = listener.struck[-1]
        assert pitch - 6600 == pytest.approx(stage.made.plans[1][name].sent_cents[66], abs=0.05), name

    stage.program.send_signal(signal.SIGINT)
    stage.undone()
    assert stage.program.wait(20) == 0
    assert journal.left() == ()


def test_a_receiver_that_vanishes_stands_in_the_song_of_the_moment_when_it_is_back(stage):
    """Its cable is out while the player goes on; the port that comes back has a longer name."""

    def told(words):
        while words not in (line := stage.program.stderr.readline()):
            assert line, words

    stage.ears["Organ"].close()
    told("Organ: not connected; passed over")
    stage.board.send(b"\xb0\x50\x7f")
    told("2 Polka in D")
    stage.ears["Organ"] = Ear("Organ on the left")
    heard, _ = stage.ears["Organ"].until(stage.made.start("Organ", 1)[-1])
    assert heard == list(stage.made.start("Organ", 1))
    told("Organ: connected, and tuned.")
    stage.program.send_signal(signal.SIGINT)
    stage.undone()
    assert stage.program.wait(20) == 0


def test_after_kill_9_the_whole_rig_is_equal(stage):
    """How soon: `tests/benchmarks/test_keys_through.py`."""
    stage.kill()
    stage.undone()


def test_after_kill_9_in_the_middle_of_a_change_the_whole_rig_is_equal(
    tmp_path, midi_system, start, plays_at
):
    """A song is on its way to single notes, 22 messages of which the first has arrived; a chord is held."""
    stage = Stage(tmp_path, start, plays_at, organ="mts-single-note")
    stage.keyboard.send(b"\x90\x40\x40")
    heard = {name: [*stage.tuned[name], *ear.until(note)[0]] for (name, ear), note in zip(
        stage.ears.items(), (b"\x94\x40\x40", b"\x90\x40\x40", b"\x91\x40\x40"), strict=True)}  # fmt: skip
    stage.board.send(b"\xb0\x50\x7f")
    heard["Organ"].append(stage.ears["Organ"].next()[1])
    assert len(parse_tuning(heard["Organ"][-1]).keys) == 6
    stage.kill()

    for name, ear in stage.ears.items():
        listener = Listener()
        for message in (*heard[name], *ear.until(stage.made.undo(name)[-1])[0]):
            listener.send(message)
        assert listener.sounding() == set()
        assert [listener.pitch_cents(channel, key) for channel in range(1, 17) for key in range(128)] == (
            pytest.approx([100 * key for _ in range(16) for key in range(128)], abs=0.01)
        ), name
    stage.close()


def test_after_kill_9_of_program_and_guard_the_next_start_puts_all_back(stage, start):
    assert killed_at_once(stage.program) == 2
    assert len(journal.left()) == 4
    again = start("keys", "reset")
    stage.undone()
    said = again.communicate(timeout=60)[1]
    assert said.count("it is put back now") == 4
    assert journal.left() == ()


def test_a_press_is_learnt_into_the_file(tmp_path, midi_system, start):
    board = MidiOutput("Foot board", virtual=True)
    file = tmp_path / "night.toml"
    file.write_text('title = "Invented"  # mine\n[[songs]]\nname = "Waltz"\nkey = "C"\n')
    program = start("set", "learn", str(file), "--control", "next")
    assert "Press now" in program.stderr.readline()
    for message in (b"\xb0\x50\x00", b"\xb0\x50\x7f"):
        board.send(message)
    said = program.communicate(timeout=30)[1]
    board.close()

    assert program.returncode == 0
    assert "control 80 of " in said
    (control,) = set_list(str(file)).controls
    assert (control.number, control.channel, control.action) == (80, 1, "next")
    assert "Foot board" in control.from_port
    assert "# mine" in file.read_text()
