"""tonegen play and render as a person runs them: in a terminal, on a sound server, until Ctrl-C."""

import codecs
import os
import pty
import re
import select
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

TONEGEN = [sys.executable, "-c", "import sys; sys.argv[0] = 'tonegen'; from tonegen.cli import main; main()"]
GRIP = ["--instrument", "e9-ten-string", "--changes", "A,B", "--grip", "3,4,5"]


class Terminal:
    """A program in a terminal of its own, and everything it has shown."""

    def __init__(self, process: subprocess.Popen, screen: int) -> None:
        self.process = process
        self.shown = ""
        self._screen = screen
        self._decoder = codecs.getincrementaldecoder("utf-8")()

    def wait_for(self, pattern: str) -> None:
        """Read until the pattern is shown."""
        while not re.search(pattern, self.shown):
            assert self._read_some(), f"{pattern!r} was not shown: {self.shown}"

    def wait_for_the_end(self) -> int:
        """Read until the program has closed its terminal; give its exit code."""
        while self._read_some():
            pass
        return self.process.wait(20)

    def _read_some(self) -> bool:
        ready, _, _ = select.select([self._screen], [], [], 30)
        assert ready, f"nothing shown for 30 s after: {self.shown}"
        try:
            self.shown += self._decoder.decode(os.read(self._screen, 65536))
        except OSError:  # what Linux says of a terminal that nobody holds any more
            return False
        return True


@contextmanager
def terminal(arguments: list[str], environment: dict[str, str], cwd=None) -> Iterator[Terminal]:
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [*TONEGEN, *arguments], stdin=theirs, stdout=theirs, stderr=theirs, cwd=cwd, start_new_session=True,
        env={**environment, "TERM": "xterm-256color", "COLUMNS": "100", "LINES": "40"},
    )  # fmt: skip
    os.close(theirs)
    try:
        yield Terminal(process, ours)
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()
        os.close(ours)


def test_the_beats_pulse_on_screen_until_ctrl_c(sound_server):
    with terminal(["play", *GRIP, "--only-beating"], sound_server.environment) as screen:
        screen.wait_for(r"E4–A4 +1\.49/s wide +█{3,}")
        screen.process.send_signal(signal.SIGINT)
        assert screen.wait_for_the_end() == 0
    assert "NIOSH" in screen.shown  # the usual caution
    assert "Traceback" not in screen.shown


def test_the_length_of_the_bar_follows_the_beat(sound_server):
    """A beat of one a second goes from full to nothing and back: bars of many lengths are seen."""
    with terminal(["play", "--hz", "220,330.5", "--seconds", "3"], sound_server.environment) as screen:
        assert screen.wait_for_the_end() == 0
    lengths = {len(bar) for bar in re.findall(r"1\.00/s wide +(█*)", screen.shown)}
    assert max(lengths) >= 22
    assert min(lengths) <= 2
    assert len(lengths) > 8


def run(environment, *arguments, **options):
    return subprocess.run(
        [*TONEGEN, *arguments], env=environment, capture_output=True, text=True, timeout=60, **options
    )


def test_scripts_get_one_json_object(sound_server):
    done = run(sound_server.environment, "play", "--hz", "220,275.6", "--seconds", "0.5", "--json")
    assert done.returncode == 0
    assert '"underflows": ' in done.stdout
    assert done.stdout.count("\n") == 1


@pytest.mark.parametrize(
    ("arguments", "code", "why"),
    [
        (["--device", "nowhere"], 3, 'no sound device "nowhere"; there are: 0 system'),
        (["--sample-rate", "0"], 2, "sample rate 0 is out of range"),
        (["--only-beating"], 2, "--only-beating: no partials"),
        (["--sample-rate", "44100"], 3, "does not take 2 channels at 44100 Hz"),
        (["--seconds", "0"], 2, "0 seconds"),
        (["--block", "-1"], 2, "block of -1 frames"),
    ],
)
def test_what_cannot_be_played_is_one_line(sound_server, arguments, code, why):
    done = run(sound_server.environment, "play", "--hz", "220", "--json", *arguments)
    refusals = [line for line in done.stderr.splitlines() if line.startswith("tonegen: ")]
    assert (done.returncode, len(refusals)) == (code, 1), done.stderr
    assert why in refusals[0]
    assert "Traceback" not in done.stderr
