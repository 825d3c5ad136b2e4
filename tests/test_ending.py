"""The program told to end, by any signal or by its terminal: in order, once, with the exit code of shells."""

import os
import pty
import random
import signal
import subprocess
import sys
from types import SimpleNamespace

import pytest

from tests.ear.terminal import Terminal
from tests.endings import COMMANDS, SIGNALS, ended_at
from tonegen import ending
from tonegen.ending import Ended
from tonegen.sound import device

TONEGEN = [sys.executable, "-c", "from tonegen.cli import main; main()"]
PUTS_BACK = """
import sys
from tonegen import ending
ending.listen()
try:
    print("at work", flush=True)
    while True:
        sys.stdin.readline()
except KeyboardInterrupt:
    print("putting back", flush=True)
    sys.stdin.readline()
    print("put back", flush=True)
sys.exit(ending.stop_listening())
"""


def at_work(**options):
    program = subprocess.Popen(
        [sys.executable, "-c", PUTS_BACK], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True, **options,
    )  # fmt: skip
    assert program.stdout.readline() == "at work\n"
    return program


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], ids=lambda one: one.name)
def test_whoever_is_impatient_disturbs_no_end_that_is_under_way(how):
    """POSIX shells: a program that signal n ended has the exit code 128 + n; the first one counts."""
    program = at_work()
    program.send_signal(how)
    assert program.stdout.readline() == "putting back\n"
    for again in (how, signal.SIGINT, signal.SIGTERM):
        program.send_signal(again)
    said, complaints = program.communicate("\n", timeout=20)

    assert (said, complaints, program.returncode) == ("put back\n", "", 128 + how)


ENDED_BY_A_CALL = """
import signal, sys
from tonegen import ending
ending._SECONDS_TO_END = 0.0  # whoever tells it again need not wait
ending.listen()
with ending.ends_by(lambda: print("called")):
    signal.raise_signal(signal.SIGTERM)
try:
    signal.raise_signal(signal.SIGINT)
except ending.Ended:
    print("raised")
sys.exit(ending.stop_listening())
"""


def test_a_call_stands_in_for_raising_only_while_it_is_wanted():
    """The first signal gives the exit code, as above, also when a second one ended the program."""
    done = subprocess.run([sys.executable, "-c", ENDED_BY_A_CALL], capture_output=True, text=True, timeout=60)

    assert (done.stdout, done.stderr) == ("called\nraised\n", "")
    assert done.returncode == 128 + signal.SIGTERM


def ended_in(code):
    """What a program says that is told to end somewhere in its work, and its exit code."""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    return done.stdout, done.stderr, done.returncode


PUTS_OFF = """
import signal, sys
from tonegen import ending
ending.listen()
try:
    with ending.put_off():
        signal.raise_signal(signal.SIGTERM)
        print("done whole")
    print("too late")
except ending.Ended:
    print("raised")
with ending.ends_by(lambda: print("called")), ending.put_off():
    ending._told.at_seconds = 0.0
    signal.raise_signal(signal.SIGTERM)
    print("done whole")
sys.exit(ending.stop_listening())
"""


def test_what_must_be_whole_is_done_before_the_end():
    assert ended_in(PUTS_OFF) == ("done whole\nraised\ndone whole\ncalled\n", "", 128 + signal.SIGTERM)


WHILE_AN_OBJECT_GOES = """
import signal, sys, threading
from tonegen import ending
class Last:
    def __del__(self):
        signal.raise_signal(signal.SIGTERM)
ending.listen()
try:
    Last()
    threading.Event().wait(60)
    print("still at work")
except ending.Ended:
    print("raised")
sys.exit(ending.stop_listening())
"""


def test_an_end_that_python_swallows_comes_again():
    """It says so of what is raised while an object goes (sys.unraisablehook), and goes on."""
    assert ended_in(WHILE_AN_OBJECT_GOES) == ("raised\n", "", 128 + signal.SIGTERM)


IN_ANOTHER_EXCEPTION = """
import signal
from tonegen import cli
class Field:
    def __set_name__(self, owner, name):
        signal.raise_signal(signal.SIGTERM)
def work(**_):
    try:
        class Record:
            field = Field()
    except BaseException as error:  # as Python itself did until 3.11, whatever version runs this
        raise RuntimeError("Error calling __set_name__") from error
cli.tonegen.main = work
cli.main()
"""


def test_an_end_that_came_out_as_another_exception_is_an_end_all_the_same():
    assert ended_in(IN_ANOTHER_EXCEPTION) == ("", "", 128 + signal.SIGTERM)


def test_what_the_shell_has_ignored_stays_ignored():
    """nohup (POSIX) starts a program with SIGHUP ignored, so that it outlives its terminal."""
    program = at_work(preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN))
    program.send_signal(signal.SIGHUP)
    program.send_signal(signal.SIGTERM)
    program.communicate("\n", timeout=20)

    assert program.returncode == 128 + signal.SIGTERM


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], ids=lambda one: one.name)
def test_a_render_cut_short_leaves_nothing(tmp_path, how):
    with Terminal("render", str(tmp_path / "long.wav"), "--hz", "220", "--seconds", "10000") as terminal:
        terminal.wait_for("writing")
        terminal.process.send_signal(how)
        assert terminal.ended() == 128 + how
        assert "Traceback" not in terminal.screen
    assert list(tmp_path.iterdir()) == []


def test_a_terminal_that_is_closed_ends_the_program(tmp_path):
    with Terminal("render", str(tmp_path / "long.wav"), "--hz", "220", "--seconds", "10000") as terminal:
        terminal.wait_for("writing")
        assert terminal.closed() == 128 + signal.SIGHUP
    assert list(tmp_path.iterdir()) == []


def test_a_terminal_that_is_closed_without_a_word_ends_it_with_what_is_printed_next(tmp_path):
    """It is not the program's own, so that no signal comes."""
    ours, theirs = pty.openpty()
    program = subprocess.Popen(
        [*TONEGEN, "render", str(tmp_path / "long.wav"), "--hz", "220", "--seconds", "10000"],
        stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True,
    )  # fmt: skip
    os.close(theirs)
    assert os.read(ours, 1000)
    os.close(ours)

    assert program.wait(20) == 128 + signal.SIGHUP
    assert list(tmp_path.iterdir()) == []


@pytest.mark.real  # python-rtmidi, for the ports
@pytest.mark.parametrize("closed", [">&-", "2>&-", "<&- >&- 2>&-"])
def test_what_the_shell_has_closed_is_missed_by_nobody(closed):
    """The ports' libraries print, and what a file of ours would get is one of the three places."""
    listed = f"\"{sys.executable}\" -c \"import sys; sys.argv[1:] = ['keys', 'ports', '--json']; "
    command = f'{listed}from tonegen.cli import main; main()" {closed}'
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, timeout=60)

    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.long
@pytest.mark.parametrize("name", COMMANDS)
def test_whatever_the_moment_nothing_is_half_written_or_left_tuned(tmp_path, name):
    """The short form; the long one is a command, see tests/endings.py."""
    draw = random.Random(name)
    for how in SIGNALS:
        folder = tmp_path / how.name
        folder.mkdir()
        assert ended_at(name, how, draw.uniform(0, COMMANDS[name][1]), folder) == ""


BEGINS_JACK = """
import signal
signal.raise_signal(signal.SIGTERM)
is_whole = True
"""
LOOKS_FOR_DEVICES = """
import sys
from tonegen import ending
from tonegen.sound import device
ending.listen()
try:
    device.output_devices()
except ending.Ended:
    print("whole:", sys.modules["sounddevice"].is_whole)
sys.exit(ending.stop_listening())
"""


def test_the_library_of_devices_is_begun_whole(tmp_path):
    """Half begun it is unloaded, and the threads that JACK has begun in it crash the program."""
    (tmp_path / "sounddevice.py").write_text(BEGINS_JACK)
    found = f"import sys\nsys.path.insert(0, {str(tmp_path)!r})\n"
    assert ended_in(found + LOOKS_FOR_DEVICES) == ("whole: True\n", "", 128 + signal.SIGTERM)


def test_a_tone_that_is_ended_while_its_device_begins_leaves_no_stream_open(monkeypatch):
    """The device's own thread would call what is gone, and the program crash.

    Nor does a signal cut short what JACK is asked meanwhile: to JACK that is its server's end, and an abort.
    """
    open_streams = []

    def told_to_end():
        assert signal.pthread_sigmask(signal.SIG_BLOCK, ()) >= {*SIGNALS}
        ending._told.do()

    class Stream:
        def __init__(self, **_):
            open_streams.append(self)
            told_to_end()

        def start(self):
            told_to_end()

        def close(self):
            open_streams.remove(self)

    portaudio = SimpleNamespace(OutputStream=Stream, PortAudioError=OSError, CallbackAbort=Exception)
    monkeypatch.setattr(device, "portaudio", lambda: portaudio)
    player = SimpleNamespace(frame=0, sample_rate=48000, channels=2)
    system = device.Device(0, "system", "JACK", 2, 48000, True, True)
    with pytest.raises(Ended):
        device.play(player, system)
    assert open_streams == []
