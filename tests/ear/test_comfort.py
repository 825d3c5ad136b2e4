"""Kind to ears: nothing is louder than the tone to set the volume by, and a rest is hinted at in time."""

import numpy as np

from tonegen.ear.comfort import Rest, steady
from tonegen.ear.rendering import Booth, rendered
from tonegen.ear.trials import Kind, Task, make_trial

RATE = 8000


class Sounding:
    """A source that sounds for ever, or has ended."""

    peak = 0.1

    def __init__(self, rms):
        self.rms = rms

    def pull(self, out):
        out.fill(self.rms)


def test_no_usual_trial_is_louder_than_the_steady_tone():
    out = np.empty((48000, 2), dtype=np.float32)
    tone = steady(48000)
    tone.pull(out)
    tone.pull(out)
    loudest = np.sqrt(np.square(out, dtype=float).mean())
    for kind in Kind:
        for seed in range(10):
            for sound in make_trial(Task(kind), 10, seed).sounds:
                made = rendered(sound, 48000)[4800:-4800]
                assert np.sqrt(np.square(made, dtype=float).mean()) < loudest * 1.12  # a beat's share, 1 dB


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
