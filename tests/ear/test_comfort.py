"""Kind to ears: nothing is louder than the tone to set the volume by, and a rest is hinted at in time."""

import numpy as np
import pytest

from tonegen import presets
from tonegen.ear.comfort import Rest, steady
from tonegen.ear.lesson import KIND, lesson
from tonegen.ear.rendering import Booth, rendered
from tonegen.ear.trials import Bed, Task, TrialKind, make_trial

RATE = 8000


class Sounding:
    """A source that sounds for ever, or has ended."""

    peak = 0.1

    def __init__(self, rms):
        self.rms = rms

    def pull(self, out):
        out.fill(self.rms)


def rms(sound):
    return np.sqrt(np.square(sound, dtype=float).mean())


def loudness_of_the_steady_tone():
    out = np.empty((48000, 2), dtype=np.float32)
    tone = steady(48000)
    for _ in range(2):
        tone.pull(out)
    return rms(out)


def test_no_trial_is_louder_than_the_steady_tone():
    """Each kind, with a chord beneath that is as loud as the sound."""
    loudest = loudness_of_the_steady_tone()
    own = {"names": ("low", "high"), "tempered_cents": (0.0, 9.0)}
    for kind in TrialKind:
        of_a_grip = {"chords": Task(TrialKind.SET).chords[:1], **own} if kind is TrialKind.OWN else {}
        for seed in range(10):
            for sound in make_trial(Task(kind, bed=Bed.CHORD, bed_db=0, **of_a_grip), 10, seed).sounds:
                assert rms(rendered(sound, 48000)) < loudest


@pytest.mark.parametrize("name", presets.names(KIND))
def test_no_lesson_is_louder_than_the_steady_tone(name):
    loudest = loudness_of_the_steady_tone()
    for step in lesson(name).steps:
        for sound in step.sounds:
            assert rms(sound.rendered(48000)) < loudest * 1.06  # half a dB, where partials coincide


def test_a_rest_is_hinted_at_after_every_twenty_minutes_of_sound():
    """Time in which nothing sounds does not count."""
    booth, rest = Booth(RATE), Rest()
    second = np.empty((RATE, 2), dtype=np.float32)
    hinted = []
    for passed in range(1, 61):
        booth.play(Sounding(0.0 if passed % 3 == 0 else 0.01))
        for _ in range(60):
            booth.pull(second)
        if rest.due(booth.sounded_frames / RATE):
            hinted.append(passed)

    assert hinted == [29, 59]
