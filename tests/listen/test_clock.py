"""How fast the clock of a sound card runs, from blocks that come late now and then."""

import numpy as np
import pytest

from tonegen.listen.clock import CardClock, card_clock


@pytest.mark.parametrize("ppm", [-80.0, 0.0, 37.5])
@pytest.mark.parametrize("seed", range(3))
def test_a_clock_is_found_whatever_comes_late(ppm, seed):
    """A minute of blocks of 1024 frames, each late by 2 ms on average and some by 50."""
    draw = np.random.default_rng(seed)
    frames = np.arange(1, 2800) * 1024.0
    late = draw.exponential(0.002, len(frames)) + 0.05 * (draw.random(len(frames)) < 0.01)
    clock = card_clock(frames, 1000 + frames / (48000 * (1 + ppm * 1e-6)) + late, 48000)
    assert clock.ppm == pytest.approx(ppm, abs=1.5)
    assert abs(clock.ppm - ppm) < 4 * clock.error_ppm


def test_sound_that_was_lost_is_no_slower_clock():
    """Ten blocks are missing from the middle: they would be 3,500 ppm."""
    frames = np.arange(1, 2800) * 1024.0
    seconds = (frames + 10240 * (frames > 1400 * 1024)) / 48000
    missing = (frames > 1400 * 1024).astype(int)
    assert card_clock(frames, seconds, 48000, missing).ppm == pytest.approx(0, abs=0.01)


def test_58_ppm_are_a_tenth_of_a_cent():
    """A card that runs fast has more frames in a period, so that what is heard reads flat."""
    assert CardClock(58.0, 5.8).cents == pytest.approx(0.1, abs=0.001)
    assert CardClock(58.0, 5.8).error_cents == pytest.approx(0.01, abs=0.0001)
