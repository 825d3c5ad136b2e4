"""The booth's gain: never up by more than 6 dB at once, and always under the level that is set."""

import numpy as np
import pytest

from tonegen.ear.rendering import Booth
from tonegen.synthesis.timbre import linear_from_db

RATE = 48000
MADE_FOR = -15.0  # at this level sources sound as they were made


class Steady:
    """A source that is always as loud."""

    def __init__(self, level):
        self.rms = self.peak = self.level = level

    def pull(self, out):
        out.fill(self.level)


def heard(booth, seconds, **beside):
    """What comes out last, after so long."""
    out = np.empty((480, 2), dtype=np.float32)
    for _ in range(round(seconds * RATE / len(out))):
        booth.pull(out, **beside)
    return float(out[-1, 0])


def db(value, of):
    return 20 * np.log10(value / of)


def test_a_louder_source_comes_up_by_six_decibels_and_then_by_24_a_second():
    booth = Booth(RATE, MADE_FOR)
    booth.play(Steady(0.005))
    quiet = heard(booth, 0.5)
    booth.play(Steady(0.15))  # 29.5 dB louder
    first = heard(booth, 0.25)  # the one before has faded out

    assert db(first, quiet) == pytest.approx(6 + 24 * 0.25, abs=0.5)
    assert heard(booth, 2.0) == pytest.approx(0.15, rel=1e-3)


def test_a_source_does_not_jump_above_what_sounds_beside_the_booth():
    booth = Booth(RATE, MADE_FOR)
    booth.play(Steady(0.15))
    first = heard(booth, 0.01, beside_rms=0.005)

    assert db(first, 0.005) == pytest.approx(6 + 24 * 0.01, abs=0.1)


def test_out_of_silence_a_source_begins_at_its_own_level():
    booth = Booth(RATE, MADE_FOR)
    booth.play(Steady(0.15))

    assert heard(booth, 0.01) == pytest.approx(0.15, rel=1e-6)


def test_the_level_reaches_a_source_that_plays():
    booth = Booth(RATE, MADE_FOR)
    booth.play(Steady(0.15))
    before = heard(booth, 0.5)
    booth.level(MADE_FOR - 12)

    assert db(heard(booth, 2.0), before) == pytest.approx(-12, abs=0.01)


def test_no_source_exceeds_the_level():
    booth = Booth(RATE, MADE_FOR)
    booth.play(Steady(0.9))

    assert heard(booth, 0.5) == pytest.approx(linear_from_db(MADE_FOR), rel=1e-6)
