"""Strings learned alone: their stiffness and their partials' own ways, and what that is good for."""

from dataclasses import replace
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import resample

from tests.listen.strings import RATE, partial_hz, plucked
from tonegen.errors import BadPreset
from tonegen.instrument import TuningPoint
from tonegen.listen.heard import UnreadSound, heard, moved
from tonegen.listen.learned import _ways, learn
from tonegen.listen.spectrum import Expected
from tonegen.presets import instrument
from tonegen.presets.learned import learned_strings, save_learned

PIANO = Path(__file__).parents[1] / "published" / "piano"
# Equal temperament at A4 = 440 Hz (ISO 16).
KEYS_HZ = {"c3": 130.813, "ds3": 155.563, "fs3": 184.997, "c4": 261.626}
STROKES = (4, 7, 10, 13, 16)
E9 = instrument("e9-ten-string")


def stroke(key, velocity, seconds=1.0):
    """A stroke from 0.2 s after it."""
    sound, rate = soundfile.read(PIANO / f"{key}_{velocity}.flac")
    return sound[round(0.25 * rate) :][: round(seconds * rate)], rate


def with_ways(seed, ways_cents, *, hz=246.94, b=5e-5, seconds=1.0):
    """A string whose partials lie off the law by these cents, each pick with levels and phases of its own."""
    draw = np.random.default_rng(seed)
    t = np.arange(round(seconds * RATE)) / RATE
    sound = 0.0003 * draw.standard_normal(len(t))
    for number, way in enumerate(ways_cents, 1):
        at = partial_hz(hz, number, b) * 2 ** (way / 1200)
        level = 0.05 / number * np.exp(0.3 * draw.standard_normal() - 1.5 * t)
        sound += level * np.cos(2 * np.pi * (at * t + draw.uniform()))
    return sound


WAYS = np.array([6.0, 0.4, -0.3, 0.2, -0.5, 0.3, 0.1, -0.2, 0.4, -0.4, 0.1, 0.0, 0.3, -0.2])
B3 = Expected(5, "B3", 246.94, 5e-5)


def test_stiffness_and_the_partials_own_ways_are_learned():
    learned = learn([with_ways(seed, WAYS) for seed in (1, 2)], RATE, B3)
    assert learned.stiffness == pytest.approx(5e-5, rel=0.3)
    # A slope of the ways is stiffness by another name: what the partials do together is what counts.
    numbers = learned.ways.numbers
    lie = 1200 * np.log2(partial_hz(learned.hz, numbers, learned.stiffness)) + learned.ways.cents
    truth = 1200 * np.log2(partial_hz(246.94, numbers, 5e-5)) + WAYS[numbers.astype(int) - 1]
    assert lie == pytest.approx(truth, abs=0.03)
    assert learned.alike_cents < 0.02


def test_a_learned_string_is_heard_ten_times_better_though_its_partials_stray():
    learned = learn([with_ways(seed, WAYS) for seed in (1, 2)], RATE, B3)
    known = replace(B3, stiffness=learned.stiffness, ways=learned.ways)
    off = 7.3
    at = np.array([
        heard(with_ways(seed, WAYS, hz=246.94 * 2 ** (off / 1200)), RATE, [known]).cents
        for seed in range(5, 15)
    ])  # fmt: skip
    learned_cents = 1200 * np.log2(learned.hz / 246.94)
    assert np.abs(at - off - learned_cents).max() < 0.02


@pytest.mark.parametrize("key", KEYS_HZ)
def test_five_strokes_of_a_piano_key_agree(key):
    """Two strokes learned, all five read: by the law they differ by 0.06 cents in the middle, so by 0.03."""
    sounds = [stroke(key, velocity) for velocity in STROKES]
    rate = sounds[0][1]
    expected = Expected(1, key, KEYS_HZ[key], 3e-4)
    learned = learn([sound for sound, _ in sounds[:2]], rate, expected)
    known = replace(expected, stiffness=learned.stiffness, ways=learned.ways)
    cents = [heard(sound, rate, [known]).cents for sound, _ in sounds]
    assert np.std(cents, ddof=1) < 0.03


def test_ways_count_from_the_pitch_that_the_law_says_wherever_they_were_looked_for():
    sound = with_ways(1, WAYS)
    (numbers, ways), (_, again) = (_ways(sound, RATE, 246.94 * 2 ** (off / 1200), 5e-5) for off in (0, 5))
    assert ways == pytest.approx(again, abs=0.03)
    assert np.median(ways[numbers > 1]) == pytest.approx(np.median(WAYS[1:]), abs=0.1)


def test_a_drop_by_two_strokes_of_one_key():
    """One at rest, the next lowered by exact resampling: nine of ten far within 0.15 cents, as is said."""
    errors, claims = [], []
    for turn, (key, hz) in enumerate(KEYS_HZ.items()):
        sounds = [stroke(key, each, 1.1) for each in STROKES]
        for (rest, rate), (down, _) in pairwise(sounds):
            frames = len(rest) + 60 + 40 * turn
            cents, error = moved(rest[:rate], resample(down, frames)[:rate], rate, Expected(1, key, hz, 3e-4))
            errors.append(abs(cents - 1200 * np.log2(len(rest) / frames)))
            claims.append(max(error, 0.02))  # which the command says at least
    assert np.quantile(errors, 0.9) < 0.05
    assert 0.85 <= np.mean(np.array(errors) < 2 * np.array(claims)) <= 1
    assert np.median(claims) < 0.04


def test_new_strings_are_told_from_the_learned():
    learned = learn([with_ways(seed, WAYS) for seed in (1, 2)], RATE, B3)
    known = replace(B3, stiffness=learned.stiffness, ways=learned.ways)
    with pytest.raises(UnreadSound, match="does not sound as it was learned"):
        heard(with_ways(3, WAYS[::-1] * 4 + np.linspace(0, 8, 14) * (-1) ** np.arange(14)), RATE, [known])


def test_what_cannot_be_learned():
    one = with_ways(1, WAYS)
    with pytest.raises(UnreadSound, match="picked once; pick it twice"):
        learn([one], RATE, B3)
    with pytest.raises(UnreadSound, match="not alike"):
        learn([one, with_ways(2, 2 * np.cos(3 * np.arange(14)))], RATE, B3)
    with pytest.raises(UnreadSound, match="another note"):
        learn([one, plucked(1, 300.0)[0]], RATE, B3)


def test_what_was_learned_is_kept_with_the_instrument(own_folder):
    learned = learn([with_ways(seed, WAYS) for seed in (1, 2)], RATE, B3)
    path = save_learned(E9, {TuningPoint(5): learned}, date(2026, 11, 26))
    save_learned(E9, {TuningPoint(5, ("A",)): learned}, date(2026, 11, 27))
    kept = learned_strings(E9)
    assert set(kept) == {TuningPoint(5), TuningPoint(5, ("A",))}
    assert kept[TuningPoint(5)].ways.cents == pytest.approx(learned.ways.cents, abs=1e-4)
    assert kept[TuningPoint(5)].stiffness == pytest.approx(learned.stiffness, rel=1e-4)
    assert learned_strings(instrument("c6-ten-string")) == {}
    path.write_text(path.read_text().replace('note = "B3"', 'note = "A3"'))
    with pytest.raises(BadPreset, match="string 5 was learned as A3, which it is no longer"):
        learned_strings(E9)
    # Learned again, it fits again.
    save_learned(E9, {TuningPoint(5): learned}, date(2026, 11, 28))
    assert TuningPoint(5) in learned_strings(E9)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("string = 5", "string = 15", "string 15 was learned, which e9-ten-string has not"),
        ("error_cents = [", "error_cents = [0.5, ", "as many cents and error_cents as partials"),
        ("stiffness = ", "stiffness = -", "stiffness"),
        ('changes = ["A"]', 'changes = ["Q"]', "no longer"),
        ('instrument = "e9', 'instrument = "c6', "were learned on c6-ten-string, not on e9-ten-string; move"),
    ],
)
def test_a_file_of_learned_strings_that_does_not_fit(own_folder, old, new, says):
    learned = learn([with_ways(seed, WAYS) for seed in (1, 2)], RATE, B3)
    path = save_learned(E9, {TuningPoint(5, ("A",)): learned}, date(2026, 11, 26))
    path.write_text(path.read_text().replace(old, new))
    with pytest.raises(BadPreset, match=says) as refused:
        learned_strings(E9)
    assert str(refused.value).startswith(f"{path}: ")
