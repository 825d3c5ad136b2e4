"""What sounds and what is tuned, ended in every way: faded out, put back, and nothing left running."""

import random
import signal
import subprocess
import sys

import numpy as np
import pytest

from tests.ear.terminal import Terminal
from tests.endings import AT_THE_SOUND_SERVER, SIGNALS, ended_at
from tests.page.running import RunningPage
from tests.real.recorder import Recorder
from tonegen.synthesis.player import FADE_SECONDS

TONEGEN = [sys.executable, "-c", "from tonegen.cli import main; main()"]
ENDINGS = pytest.mark.parametrize(
    "how", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], ids=lambda one: one.name
)
PLAY = ("play", "--hz", "1000", "--timbre", "harmonic")


def faded(sound):
    """Whether a tone ends by itself getting quieter: its last tenth of a fade is at most a fifth as loud."""
    heard = np.abs(sound).max(axis=0)
    end = np.flatnonzero(heard)[-1]
    last = round(48000 * FADE_SECONDS / 10)
    return heard[end - last : end].max() < heard[: end - round(48000 * 2 * FADE_SECONDS)].max() / 5


@ENDINGS
def test_a_tone_fades_out_however_it_is_ended(sound_server, how):
    playing = subprocess.Popen(
        [*TONEGEN, *PLAY],
        env=sound_server.environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert "NIOSH" in playing.stderr.readline()
    with Recorder(sound_server) as recorder:
        sound = recorder.until_heard(3.0)
        playing.send_signal(how)
        sound = np.concatenate([sound, recorder.until_silent()], axis=1)
    _, complaints = playing.communicate(timeout=20)

    assert faded(sound)
    assert playing.returncode == (0 if how == signal.SIGINT else 128 + how)
    assert "Traceback" not in complaints


@pytest.mark.parametrize(
    "command",
    [
        PLAY,
        ("order", "e9-dance-band", "--sound"),
        ("ear", "train", "abx", "--cents", "10", "--interval", "3:2"),
    ],
    ids=lambda words: words[0],
)
def test_a_terminal_that_is_closed_ends_what_sounds(sound_server, command):
    with Terminal(*command, environment=sound_server.environment) as terminal:
        terminal.wait_for("NIOSH")
        with Recorder(sound_server) as recorder:
            recorder.until_heard(1.0)
            code = terminal.closed()
            assert recorder.until_silent().size
    assert code == 128 + signal.SIGHUP


@ENDINGS
def test_the_page_ends_in_order_while_it_sounds(tmp_path, sound_server, how):
    with RunningPage(tmp_path / "own", "--device", "system", environment=sound_server.environment) as running:
        with running.page() as page:
            page.ask("sound", on=True)
            page.shown("moment", lambda moment: moment["heard_frame"] > 24_000)
            running.process.send_signal(how)
            code = running.process.wait(20)
        complaints = running.process.stderr.read()

    assert code == (0 if how == signal.SIGINT else 128 + how)
    assert "NIOSH" in complaints
    assert complaints.count("\n") == 1, "the caution, and nothing else"


@pytest.mark.parametrize("name", AT_THE_SOUND_SERVER)
def test_whatever_the_moment_nothing_is_left_tuned(tmp_path, sound_server, name):
    """The short form; the long one is a command, see tests/endings.py."""
    draw = random.Random(name)
    for how in SIGNALS:
        folder = tmp_path / how.name
        folder.mkdir()
        moment = draw.uniform(0, AT_THE_SOUND_SERVER[name][1])
        assert ended_at(name, how, moment, folder, sound_server.environment) == ""
