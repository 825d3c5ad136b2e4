"""The tuning order heard: each key gives the next target, and what sounds beats as the step says."""

import os
import pty
import re
import select
import subprocess
import sys
import termios
import time

import numpy as np
import pytest

from tests.measure import beat_of
from tests.real.recorder import Recorder
from tests.real.test_device import RATE

SAID = re.compile(rb"(\d+) of \d+: .*? near (\d+) Hz")


class AtTheTerminal:
    """The program on a terminal of its own, as a player has it."""

    def __init__(self, environment, *words):
        self._ours, self._theirs = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from tonegen.cli import main; main()", *words],
            env=environment, stdin=self._theirs, stdout=self._theirs, stderr=self._theirs,
            start_new_session=True,
        )  # fmt: skip
        self._read = b""

    def until(self, pattern):
        """Read what it says until it says this."""
        until = time.monotonic() + 20
        while not (found := re.search(pattern, self._read)):
            ready, _, _ = select.select([self._ours], [], [], max(until - time.monotonic(), 0))
            assert ready, f"it never said {pattern}: {self._read}"
            self._read += os.read(self._ours, 4096)
        self._read = self._read[found.end() :]
        return found

    def press(self, key):
        """Press a key once the program waits for one: what is typed before is not kept by a terminal."""
        while termios.tcgetattr(self._theirs)[3] & termios.ICANON:
            assert self.process.poll() is None
            time.sleep(0.005)  # no event tells of a terminal's mode
        os.write(self._ours, key)


@pytest.fixture
def listening(sound_server):
    program = AtTheTerminal(
        sound_server.environment, "order", "e9-dance-band", "--sound", "--device", "system"
    )
    try:
        yield program
    finally:
        program.process.kill()
        program.process.wait(10)


def test_steps_are_heard_one_after_another(listening, sound_server):
    """Step 3 beats 0.6 times a second near 991 Hz, step 4 0.27 times near 1238 Hz; then back, and the end."""
    first = listening.until(SAID)
    assert first[1] == b"1"
    for number, key in ((b"2", b"n"), (b"3", b"n"), (b"4", b"n"), (b"3", b"b")):
        listening.press(key)
        said = listening.until(SAID)
        assert said[1] == number
    count = re.search(rb"(\d+) beats in 10 seconds", said[0])
    left, _ = Recorder(sound_server).record(9)
    assert beat_of(left[RATE:], RATE, float(said[2]), width_hz=60) == pytest.approx(
        int(count[1]) / 10, abs=0.06
    )
    listening.press(b"p")
    assert listening.until(SAID)[1] == b"3"
    listening.until(rb"only the beating partials")
    listening.press(b"t")
    assert listening.until(SAID)[1] == b"3"
    listening.until(rb"only tone E4")
    left, _ = Recorder(sound_server).record(3.5)
    spectrum = np.abs(np.fft.rfft(left[RATE : 3 * RATE] * np.hanning(2 * RATE)))  # half a hertz a bin
    assert np.argmax(spectrum) / 2 % 330.37 == pytest.approx(0, abs=1.0)
    assert spectrum[2 * 230 : 2 * 270].max() < spectrum.max() / 1000  # B3 is silent
    listening.press(b"q")
    assert listening.process.wait(20) == 0
