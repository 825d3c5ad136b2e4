"""A partner's recording: its pitch is told, and a tone beside it is brought there by keys."""

import re
from io import BytesIO

import numpy as np
import pytest
import soundfile

from tests.ear.terminal import Terminal
from tests.measure import beat_of
from tonegen.ear.partner import NoteTogether, note_of

RATE = 48000
HZ = 221.3


def wav_file():
    """The same as a WAV file."""
    file = BytesIO()
    soundfile.write(file, played(), 44100, format="WAV")
    return file.getvalue()


def played(rate=44100, seconds=3.0):
    """A plucked tone of ten partials that fades, silence before it: a stand-in for a partner."""
    t = np.arange(round(seconds * rate)) / rate
    sound = sum(np.sin(2 * np.pi * HZ * n * t + n) / n * np.exp(-t * (0.3 + 0.1 * n)) for n in range(1, 11))
    noise = np.random.default_rng(1).normal(size=len(t)) * 1e-4
    return np.concatenate([noise[: rate // 2], 0.2 * sound + noise])


class Played:
    """It as a recording, in blocks."""

    sample_rate = 44100

    def blocks(self):
        return iter(np.array_split(played(), 3))

    def part(self, first, end):
        return played()[first:end]


@pytest.fixture(scope="module")
def note():
    return note_of(Played())


def test_the_pitch_of_the_recording_is_told(note):
    assert 1200 * np.log2(note.hz / HZ) == pytest.approx(0, abs=0.1)
    assert note.error_cents < 0.5


def test_of_several_notes_the_longest_is_taken(note):
    """A shorter one before it, a fifth higher."""
    t = np.arange(30870) / 44100
    short = 0.2 * sum(np.sin(2 * np.pi * 1.5 * HZ * n * t) / n for n in range(1, 11)) * np.exp(-t)

    class Two(Played):
        def blocks(self):
            return iter([short, played()])

        def part(self, first, end):
            return np.concatenate([short, played()])[first:end]

    assert note_of(Two()).hz == pytest.approx(note.hz, rel=1e-4)


def test_the_tone_beats_with_the_note_as_far_as_it_is_from_it(note):
    """10 cents above, then brought there; both as loud as each other."""
    source, out = NoteTogether(note, 10.0, RATE), np.empty((2 * RATE, 2), dtype=np.float32)
    source.pull(out)
    beats = HZ * (2 ** (10 / 1200) - 1)
    assert abs(beat_of(out[4800 : 4800 + 3 * RATE // 2, 0].astype(float), RATE, HZ)) == pytest.approx(
        beats, abs=0.25
    )
    assert np.abs(out).max() <= source.peak
    assert source.rms == pytest.approx(np.sqrt(2 * np.mean(np.square(out.astype(float)))), rel=0.25)


def test_a_recording_is_matched_by_keys(tmp_path, tonegen):
    path = tmp_path / "partner.wav"
    soundfile.write(path, played(), 44100)
    with Terminal("ear", "match", str(path), "--trials", "1", "--no-sound", "--person", "Ada") as terminal:
        terminal.wait_for("1 of 1  Bring the tone to the note")
        terminal.wait_for("enter: done")
        terminal.press("x\x1b[A\x1b[C\r")
        terminal.wait_for("that key does nothing here")
        said = terminal.wait_for(r"You are [+−][\d.]+ cents from it: .*\n?.*It is at 221.[23]\d Hz")
        terminal.press(" ")
        assert terminal.ended() == 0
    (off,) = re.findall(r"([+−][\d.]+) cents from it", said)
    assert 11.9 <= abs(float(off.replace("−", "-")) - 2.2) <= 40.1  # up, right: 2.2 cents higher
    (kept,) = tonegen("tonegen ear history --person Ada --json").json["lessons"]
    assert (kept["lesson"], kept["answered"], kept["right"]) == ("match partner.wav", 1, 0)
    soundfile.write(path, played()[:10000] * 0, 44100)
    assert "no note heard" in tonegen.refused(f"tonegen ear match {path}")
