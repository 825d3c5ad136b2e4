"""Strings heard as they are played, through a real sound server, by the command line."""

import json
import subprocess
import sys

import numpy as np
import pytest
import soundfile

from tests.listen.strings import RATE, plucked
from tests.real.steel import Steel
from tonegen.presets import instrument

E9 = instrument("e9-ten-string")
BUSY = "some of the sound is missing"
ON = ("--instrument", "e9-ten-string")


def string(number, cents, seed=0, seconds=1.6):
    """A string of the steel, so far off equal temperament, that is damped at its end."""
    one = E9.string(number)
    hz = 440 * 2 ** ((one.open_key - 69) / 12 + cents / 1200)
    sound, _ = plucked(seed, hz, one.stiffness, noise_db=60, seconds=seconds, lasts_seconds=3)
    sound[-2000:] *= np.linspace(1, 0, 2000)
    return np.concatenate([sound, np.zeros(RATE // 2)])


class Program:
    """tonegen in a process of its own; what it says on either side, line by line."""

    def __init__(self, server, folder, *words):
        environment = {**server.environment, "XDG_CONFIG_HOME": str(folder), "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from tonegen.cli import main; main()", *words],
            env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip

    def asked(self):
        """What it says next; how busy the machine is does not count."""
        while BUSY in (line := self.process.stderr.readline()):
            pass
        return line

    def said(self):
        return json.loads(self.process.stdout.readline())

    def end(self):
        out, err = self.process.communicate(timeout=60)
        return self.process.returncode, out, err


@pytest.fixture
def run(sound_server, tmp_path):
    programs = []

    def started(*words, server=sound_server):
        programs.append(Program(server, tmp_path, *words))
        return programs[-1]

    yield started
    for program in programs:
        program.process.kill()
        program.process.communicate()


@pytest.fixture
def steel(sound_server):
    with Steel(sound_server) as steel:
        yield steel


def test_each_string_is_told_at_once_and_again_as_from_a_file(tonegen, run, steel, tmp_path):
    program = run("listen", "--device", steel.name, *ON, "--json")
    assert "Listening to" in program.asked()
    for number, cents in ((4, 3.0), (8, -6.0)):
        steel.pick(string(number, cents))
        first, whole = program.said(), program.said()
        assert (first["strings"], first["whole"]) == ([number], False)
        assert (whole["strings"], whole["whole"]) == ([number], True)
        path = tmp_path / f"{number}.wav"
        soundfile.write(
            path, np.concatenate([np.zeros(RATE // 4), string(number, cents)]), RATE, subtype="FLOAT"
        )
        (filed,) = json.loads(tonegen(f"tonegen listen {path} {' '.join(ON)} --json").out)["picks"]
        assert whole["reads_cents"] == pytest.approx(filed["reads_cents"], abs=0.02)
        steel.rang_out()


def test_a_drop_is_asked_for_pick_by_pick(tonegen, run, steel, tmp_path):
    """String 8 sags by 1.7 cents; a wrong string in between is asked for again."""
    out = tmp_path / "readings.csv"
    program = run(
        "listen", "drop", "--device", steel.name, *ON, "--string", "8", "--changes", "A", "--out", str(out)
    )
    assert "Listening" in program.asked()
    asked = program.asked()
    for turn in range(4):
        assert asked.startswith(("Open, no pedals: pick string 8", "Engage A: pick string 8")[turn % 2])
        if turn == 2:
            steel.pick(string(5, 0.0))
            assert program.asked().startswith("That was no reading: another note")
            steel.rang_out()
        steel.pick(string(8, 1.0 - 1.7 * (turn % 2), seed=turn))
        if turn < 3:
            asked = program.asked()
        steel.rang_out()
    code, told, _ = program.end()
    assert code == 0
    assert "moves by −1.7" in told
    fitted = json.loads(tonegen(f"tonegen drop {out} --instrument e9-ten-string --json").out)
    assert fitted["drops"][0]["cents"] == pytest.approx(-1.7, abs=0.15)


def test_silence_is_told(run, sound_server):
    with Steel(sound_server, noise=0) as mute:
        code, _, err = run("listen", "--device", mute.name, *ON, "--seconds", "5").end()
    assert code == 2
    assert "nothing heard; is the right input chosen?" in err


def test_an_input_that_is_not_there_or_goes(run, mortal_sound_server):
    code, _, err = run("listen", "--device", "nosuch", *ON, server=mortal_sound_server).end()
    assert (code, err.splitlines()[-1][:32]) == (3, 'tonegen: no sound device "nosuch"'[:32])
    program = run("listen", "--device", "system", *ON, server=mortal_sound_server)
    assert "Listening" in program.asked()
    mortal_sound_server.process.terminate()
    code, _, err = program.end()
    assert code == 3
    assert "was lost while listening" in err


def test_the_clock_of_a_card_is_measured_and_kept(run, steel):
    """The server's dummy driver counts by the machine's own clock."""
    code, out, _ = run("listen", "clock", "--device", steel.name, "--seconds", "6", "--json").end()
    assert code == 0
    assert abs(json.loads(out)["ppm"]) < 50_000  # the driver waits for whoever is late
    program = run("listen", "--device", steel.name, *ON, "--seconds", "0.3")
    assert "is reckoned with" in program.asked()
