"""Ear training on a real device: what the listener is given beats as his trial says."""

import os

import numpy as np
import pytest

from tests.ear.terminal import Terminal
from tests.measure import beat_of
from tests.real.recorder import Recorder
from tests.real.test_device import RATE
from tonegen.ear.history import History
from tonegen.ear.rendering import MADE_FOR_DBFS


def listening_to(server):
    """This test's own folder, and the server's sound."""
    return {**server.environment, "XDG_CONFIG_HOME": os.environ["XDG_CONFIG_HOME"]}


def rms_db(sound):
    return 10 * np.log10(np.mean(np.square(sound, dtype=float)))


def test_the_beat_to_tap_is_the_beat_that_arrives(sound_server, own_folder):
    words = ("ear", "train", "rate", "--trials", "1", "--person", "Ada", "--level", "-24")
    recorder = Recorder(sound_server)
    with recorder.as_a_device() as name:
        with Terminal(*words, "--device", name, environment=listening_to(sound_server)) as terminal:
            terminal.wait_for("space: tap")
            heard = recorder.until_heard(8)
            for _ in range(3):
                terminal.press(" ")
                terminal.wait_for("•")
            terminal.press("\r")
            terminal.wait_for("space: on")  # the sound once more, and how fast it beats
            terminal.press(" ")
            assert terminal.ended() == 0
            assert "Sustained tones can harm hearing" in terminal.screen
        recorder.so_far()
        with History(own_folder / "ear.sqlite") as history:
            (row,) = history.rows("Ada")
        with Terminal(
            *("ear", "history", "--person", "Ada", "--again", f"{row.session}:0", "--device", name),
            *("--level", str(MADE_FOR_DBFS)),
            environment=listening_to(sound_server),
        ) as terminal:
            terminal.wait_for("Sustained tones")
            assert terminal.ended() == 0
        again = recorder.so_far()[0]
    sound = row.again().sounds[0]
    around = sound.chord[1].upper * sound.tones_hz[0]

    assert beat_of(heard[0], RATE, around, 30) == pytest.approx(row.again().right, abs=0.02)
    from_both_connected = heard[:, RATE // 10 :]  # a device's inputs are connected one after the other
    assert (from_both_connected[0] == from_both_connected[1]).all()
    level_db = 10 * np.log10(np.sum(np.square(again, dtype=float)) / RATE / sound.seconds)
    assert level_db == pytest.approx(sound.level_db, abs=0.5)


def test_the_volume_is_set_on_a_steady_tone_that_no_trial_exceeds(sound_server, own_folder):
    """Measured: keys move it by 2 dB, and what follows is no louder than what was said to be comfortable."""
    words = ("ear", "train", "rate", "--trials", "1", "--person", "Ada")
    recorder = Recorder(sound_server)
    with (
        recorder.as_a_device() as name,
        Terminal(*words, "--device", name, environment=listening_to(sound_server)) as terminal,
    ):
        terminal.wait_for("-24 dB of full scale")
        quiet = recorder.until_heard(1)[0][RATE // 2 :]
        for level in ("-22", "-20"):
            terminal.press("\x1b[A")
            terminal.wait_for(f"{level} dB of full scale")
        steady = recorder.from_now(2)[0][RATE:]
        terminal.press("\r")
        terminal.wait_for("--level -20")
        terminal.wait_for("space: tap")
        trial = recorder.from_now(3)[0]
        terminal.press("q")
        assert terminal.ended() == 0

    assert rms_db(steady) == pytest.approx(rms_db(quiet) + 4, abs=0.1)
    # Ten partials at -6 dB an octave: their rms against their sum.
    assert rms_db(steady) == pytest.approx(-20 - 10.4, abs=0.1)
    assert rms_db(trial) < rms_db(steady)
    assert np.abs(trial).max() < 10 ** (-20 / 20)


@pytest.mark.parametrize("command", [("train", "purer"), ("lesson",)], ids=" ".join)
def test_who_stops_at_the_steady_tone_hears_no_more(command, sound_server, own_folder):
    with Terminal("ear", *command, "--device", "system", environment=listening_to(sound_server)) as terminal:
        terminal.wait_for("it is comfortable")
        terminal.press("q")
        assert terminal.ended() == 0
        assert "1 of" not in terminal.screen


def test_a_device_that_is_lost_is_one_line_and_the_answers_are_kept(mortal_sound_server, own_folder):
    words = ("ear", "train", "purer", "--trials", "3", "--person", "Ada", "--device", "system")
    with Terminal(*words, "--level", "-24", environment=listening_to(mortal_sound_server)) as terminal:
        terminal.wait_for("1 of 3")
        terminal.press("1")
        terminal.wait_for("space: on")
        terminal.press(" ")
        terminal.wait_for("2 of 3")
        Recorder(mortal_sound_server).record(0.1)  # until it sounds
        mortal_sound_server.process.kill()
        assert terminal.ended() == 3
        assert terminal.screen.rstrip().splitlines()[-1].startswith("tonegen: sound device ")
        assert "Traceback" not in terminal.screen
    with History(own_folder / "ear.sqlite") as history:
        assert len(history.rows("Ada")) == 1
