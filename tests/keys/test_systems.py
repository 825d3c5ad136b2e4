"""What systems do otherwise: ports that only one program can have, no select on a pipe, no python-rtmidi."""

import select
import signal
import subprocess
import sys
from pathlib import Path

import pytest

import tonegen.cli
from tests.keys.exclusive import rtmidi
from tests.keys.rig import tune_again, tuned
from tonegen import ending
from tonegen.errors import NoSuchDevice
from tonegen.keys import guard, ports, side_process
from tonegen.keys.guard import Guard
from tonegen.keys.live import Presence
from tonegen.keys.plan import plan
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import scale_of_classes

MADE = plan(scale_of_classes("third", [0, 0, 0, 0, -13.7, 0, 0, 0, 0, 0, 0, 0]), receiver("mts-octave"))


class System:
    """The MIDI system of `tests.keys.exclusive`, with one port, "Stage"."""

    def __init__(self, folder):
        self._folder = folder
        self.plug_in()

    def plug_in(self):
        (self._folder / "ports").write_text("Stage\n")

    def pull_out(self):
        (self._folder / "ports").write_text("")
        (self._folder / "Stage.held").unlink()

    def sent(self):
        return [bytes.fromhex(line) for line in (self._folder / "sent").read_text().split()]


@pytest.fixture
def exclusive(tmp_path, monkeypatch):
    """Ports as Windows has them, for this process and for those that it starts."""
    monkeypatch.setenv("PYTHONPATH", str(Path(rtmidi.__file__).parent))
    monkeypatch.setenv("EXCLUSIVE_MIDI", str(tmp_path))
    monkeypatch.setitem(sys.modules, "rtmidi", rtmidi)
    monkeypatch.setattr(ports, "SHARED_PORTS", False)
    return System(tmp_path)


def test_where_a_port_cannot_be_shared_all_goes_through_the_guard(exclusive):
    rig = tuned("midi stage", MADE)
    assert [*rig.look().values()] == [Presence.THERE]
    rig.close()

    assert exclusive.sent() == [*MADE.messages, *MADE.undo]


def test_a_port_that_cannot_be_shared_is_opened_again_when_it_is_back(exclusive):
    rig = tuned("midi stage", MADE)
    exclusive.pull_out()
    rig.doors["midi stage"].door.send(MADE.messages[0])  # a note that comes meanwhile is lost, and no more
    assert [*rig.look().values()] == [Presence.GONE]
    exclusive.plug_in()
    assert [*rig.look().values()] == [Presence.BACK]
    tune_again(rig, MADE)
    rig.close()

    assert exclusive.sent() == [*MADE.messages, *MADE.messages, *MADE.undo]


@pytest.mark.parametrize("open_port", [ports.MidiOutput, lambda name: ports.MidiInput(name, print)])
def test_a_port_that_another_program_holds_is_refused_in_words(exclusive, open_port):
    other = rtmidi.MidiOut(4, "other")
    other.open_port(0)

    with pytest.raises(NoSuchDevice, match=r'"Stage" cannot be opened; close any other program that uses it'):
        open_port("Stage")


class Vanishing(rtmidi.MidiOut):
    """A client whose system loses a port while it is asked for their names, as JACK does."""

    looks = 0

    def get_ports(self):
        self.looks += 1
        if self.looks < 3:
            raise rtmidi.RtMidiError("MidiOutJack::getPortName: the 'portNumber' argument (1) is invalid.")
        return super().get_ports()


def test_a_port_that_vanishes_while_ports_are_listed_is_no_error(exclusive, monkeypatch):
    monkeypatch.setattr(rtmidi, "MidiOut", Vanishing)
    assert [port.name for port in ports.outputs()] == ["Stage"]


@pytest.fixture
def no_rtmidi(tmp_path, monkeypatch):
    """A Python without python-rtmidi, for this process and for those that it starts."""
    (tmp_path / "rtmidi.py").write_text("raise ImportError('not here')\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    monkeypatch.setitem(sys.modules, "rtmidi", None)


@pytest.mark.parametrize(
    "line",
    [
        "ports",
        "reset --out Stage --receiver mpe",
        "send --temperament vallotti --receiver mts-octave --out Stage",
        "send --temperament vallotti --receiver mts-octave --virtual-out Stage",
        "through --temperament vallotti --receiver mpe --in Keys --out Stage",
    ],
)
def test_without_python_rtmidi_what_needs_ports_says_what_to_install(no_rtmidi, tonegen, line):
    ended = tonegen(f"tonegen keys {line}")

    assert ended.code == NoSuchDevice.exit_code
    assert ended.err.count("\n") == 1
    assert "MIDI ports need python-rtmidi" in ended.err
    assert "python3-rtmidi" in ended.err


def test_without_python_rtmidi_all_else_runs(no_rtmidi, tonegen, tmp_path):
    asked = "--temperament vallotti --receiver mts-bulk"
    assert tonegen(f"tonegen keys plan {asked}").code == 0
    assert tonegen(f"tonegen keys send {asked} --out-syx {tmp_path / 'tuning.syx'}").code == 0
    assert (tmp_path / "tuning.syx").stat().st_size == 408  # a bulk tuning dump: MIDI 1.0 Tuning Standard


def test_the_guard_starts_where_select_knows_no_pipe(synthesizer, monkeypatch):
    """Windows' select takes sockets only: Python's documentation of `select`."""

    def no_socket(*_):
        raise OSError(10038, "An operation was attempted on something that is not a socket")

    monkeypatch.setattr(select, "select", no_socket)
    guard = Guard()
    guard.door(synthesizer.where).hold([b"/a\0\0,\0\0\0"])
    guard.close()

    assert synthesizer.take(1) == [b"/a\0\0,\0\0\0"]


def test_a_guard_that_says_nothing_is_given_up(monkeypatch):
    silent = [sys.executable, "-c", "import time; time.sleep(600)"]
    monkeypatch.setattr(side_process, "command", lambda *_: silent)
    monkeypatch.setattr(guard, "_SECONDS_TO_START", 0.2)

    silent = Guard()
    with pytest.raises(NoSuchDevice, match="did not start"):
        silent.door("osc 127.0.0.1:9")
    silent.close()


def test_a_guard_that_ended_is_missed_whatever_the_system_calls_a_pipe_without_reader(
    synthesizer, monkeypatch
):
    """Windows says EINVAL, not EPIPE; from memory."""

    class Pipe:
        def write(self, _):
            raise OSError(22, "Invalid argument")

    guard = Guard()
    door = guard.door(synthesizer.where)
    with monkeypatch.context() as patch:
        patch.setattr(guard, "_pipe", Pipe())
        with pytest.raises(NoSuchDevice, match="has ended"):
            door.send(b"\x90\x45\x40")
    guard.close()


def test_on_windows_the_process_beside_has_no_console_and_no_ctrl_c(monkeypatch):
    """The values are those of CreateProcess: Microsoft's table of process creation flags."""
    started = {}
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0x200, raising=False)
    monkeypatch.setattr(subprocess, "CREATE_NO_WINDOW", 0x08000000, raising=False)
    monkeypatch.setattr(subprocess, "Popen", lambda command, **how: started.update(how))

    side_process.start("tonegen.keys.guard", "stand_guard")

    assert started["creationflags"] == 0x08000200
    assert "start_new_session" not in started  # which Windows refuses


def test_windows_own_signal_is_one_that_ends():
    code = "import signal; signal.SIGBREAK = 21; from tonegen.ending import SIGNALS; print(21 in SIGNALS)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout == "True\n"


def test_the_end_of_windows_console_ends_the_program_and_not_its_guard(monkeypatch, capsys):
    """It comes as SIGBREAK: Python's documentation of `signal`."""
    told = {}
    for module in (ending, side_process):
        monkeypatch.setattr(module, "SIGNALS", (*ending.SIGNALS, 21))
    monkeypatch.setattr(signal, "signal", told.__setitem__)
    monkeypatch.setattr(ending._told, "number", 0)  # put back afterwards

    side_process.live_by_the_pipe_alone()
    assert told[21] is signal.SIG_IGN

    monkeypatch.setattr(sys, "argv", ["tonegen", "--version"])
    with pytest.raises(SystemExit):
        tonegen.cli.main()
    with pytest.raises(ending.Ended):
        told[21](21, None)
    assert ending.stop_listening() == 128 + 21
