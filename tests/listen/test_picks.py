"""Where strings are picked in a sound that goes on."""

from itertools import pairwise

import numpy as np
import pytest
import soundfile

from tests.listen.strings import RATE, plucked
from tests.listen.test_heard import GUITARS
from tonegen.listen.picks import PickFinder, rings_by_itself


def evening(seed, seconds=12.0):
    """Picks at random moments, half a second to two apart, each ringing on under the next; when they were."""
    draw = np.random.default_rng(seed)
    sound, when, at = np.zeros(round(seconds * RATE)), [], 0.3
    while at < seconds - 1.5:
        first = round(at * RATE)
        string, _ = plucked(
            draw.integers(10**6), 440 * 2 ** ((draw.integers(40, 70) - 69) / 12), noise_db=60, seconds=3,
            falls_cents=4, lasts_seconds=draw.uniform(2, 8),
        )  # fmt: skip
        string *= np.minimum(1, np.arange(len(string)) / (0.003 * RATE)) * draw.uniform(0.5, 1)
        noise = draw.standard_normal(400) * np.exp(-np.arange(400) / 100) * 0.05
        string[:400] += noise
        sound[first : first + len(string)] += string[: len(sound) - first]
        when.append(at)
        at += draw.uniform(0.5, 2)
    return sound + draw.standard_normal(len(sound)) * 0.001, when


def picks_of(sound, block=4801):
    finder = PickFinder(RATE)
    blocks = (sound[first : first + block] for first in range(0, len(sound), block))
    starts = tuple(start for each in blocks for start in finder.feed(each))
    return rings_by_itself(starts, len(sound), RATE, 1.0)


def test_picks_are_found_when_they_are_and_nothing_else():
    found, missed, strays, late = 0, 0, 0, []
    for seed in range(6):
        sound, when = evening(seed)
        times = np.array([pick.seconds for pick in picks_of(sound)])
        for at in when:
            near = times[np.abs(times - at) < 0.05] - at
            found, missed = found + len(near), missed + (not len(near))
            late += [*near]
        strays += sum(np.abs(np.array(when) - at).min() >= 0.05 for at in times)
    assert found > 40
    assert missed <= 0.05 * found
    assert strays == 0
    assert np.abs(late).max() < 0.015


def test_blocks_of_any_size_say_the_same():
    sound, _ = evening(1, 5.0)
    assert picks_of(sound, 100) == picks_of(sound, 4801) == picks_of(sound, len(sound))


def test_each_rings_by_itself_until_shortly_before_the_next():
    sound, _ = evening(2)
    picks = picks_of(sound)
    for pick, after in pairwise(picks):
        assert pick.seconds * RATE < pick.first <= pick.end < after.seconds * RATE
        assert pick.end - pick.first <= RATE


@pytest.mark.parametrize("path", GUITARS, ids=lambda path: path.stem)
def test_the_pick_of_a_real_string(path):
    """The recordings are cut 0.3 s before it."""
    sound, rate = soundfile.read(path, 2 * RATE)
    picks = rings_by_itself(PickFinder(rate).feed(sound), len(sound), rate, 1.0)
    loudest = max(picks, key=lambda pick: np.mean(sound[pick.first : pick.end] ** 2))
    assert loudest.seconds == pytest.approx(0.3, abs=0.02)


def test_silence_has_none():
    assert picks_of(np.zeros(RATE)) == ()
    assert rings_by_itself((), 0, RATE, 1.0) == ()
