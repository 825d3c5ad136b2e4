"""Strings heard while they ring together, and how they beat: made with known truth, and of real pianos."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import resample

from tests.listen.strings import RATE, partial_hz
from tests.listen.test_learned import KEYS_HZ, stroke
from tonegen.listen.chord import heard_together
from tonegen.listen.heard import UnreadSound, heard
from tonegen.listen.learned import learn
from tonegen.listen.spectrum import Expected


def two(seed, beats, ratio=(5, 4), seconds=5.0, low_hz=220.0):
    """Two strings whose coincident partials beat so; 60 dB and more over the noise in 1 Hz."""
    draw = np.random.default_rng(seed)
    upper, lower = ratio
    low = low_hz * 2 ** (draw.uniform(-5, 5) / 1200)
    high = (partial_hz(low, upper, 4e-5) + beats) / partial_hz(1.0, lower, 6e-5)
    t = np.arange(round(seconds * RATE)) / RATE
    sound = 4e-4 * draw.standard_normal(len(t))
    for hz, b in ((low, 4e-5), (high, 6e-5)):
        for number in range(1, 13):
            level = 0.05 * np.exp(0.2 * draw.standard_normal() - t) / np.sqrt(number)
            sound += level * np.cos(2 * np.pi * (partial_hz(hz, number, b) * t + draw.uniform()))
    return sound, [Expected(1, "low", low_hz, 4e-5), Expected(2, "high", low_hz * upper / lower, 6e-5)]


@pytest.mark.parametrize("beats", [-1.0, 2.1, -4.0, 9.0])
def test_two_strings_beat_as_they_were_made_to(beats):
    """0.02 a second in 5 s, with its side."""
    sound, expected = two(int(10 * abs(beats)), beats)
    heard_beat = heard_together(sound, RATE, expected).beat(0, 5, 1, 4)
    assert heard_beat.beats_per_second == pytest.approx(beats, abs=0.02)
    assert heard_beat.side_is_known


@pytest.mark.long
def test_a_slow_beat_is_heard_in_five_seconds_and_its_side_is_right_where_it_is_said():
    """Rate times time 0.5 and more. Which of two partials is the higher may be left open, never wrong."""
    known = 0
    for seed in range(4):
        for beats in (0.1, -0.1, 0.2, -0.5):
            sound, expected = two(seed, beats)
            heard_beat = heard_together(sound, RATE, expected, seconds=5).beat(0, 5, 1, 4)
            assert abs(heard_beat.beats_per_second) == pytest.approx(abs(beats), abs=0.02)
            assert not heard_beat.side_is_known or heard_beat.beats_per_second * beats > 0
            known += heard_beat.side_is_known
    assert known >= 4  # half a beat a second is never in doubt


def test_a_unison_has_no_side():
    sound, expected = two(3, 1.5, (1, 1), 2.0)
    heard_beat = heard_together(sound, RATE, expected).beat(0, 1, 1, 1)
    assert abs(heard_beat.beats_per_second) == pytest.approx(1.5, abs=0.05)
    assert not heard_beat.side_is_known


def test_a_string_that_is_not_picked_is_named():
    sound, (low, high) = two(1, 1.0, seconds=2.0)
    with pytest.raises(UnreadSound, match="string 7 is not heard"):
        heard_together(sound, RATE, [low, high, Expected(7, "B5", 1010.0, 1e-5)])
    with pytest.raises(UnreadSound, match="too short"):
        heard_together(sound[: RATE // 2], RATE, [low, high])


def shaken(strings):
    """All of them under a bar that swings by 8 cents, 5 times a second."""
    t = np.arange(2 * RATE) / RATE
    turns = np.cumsum(2 ** (8 * np.sin(2 * np.pi * 5 * t) / 1200)) / RATE
    return sum(
        np.cos(2 * np.pi * partial_hz(each.hz, n, each.stiffness) * turns) / n * np.exp(-t)
        for each in strings
        for n in range(1, 9)
    ) + 1e-4 * np.random.default_rng(1).standard_normal(2 * RATE)


def test_what_is_no_chord_is_refused_with_its_reason():
    sound, strings = two(1, 1.0, seconds=2.0)
    hum = sum(np.cos(2 * np.pi * 50 * n * np.arange(2 * RATE) / RATE) / n for n in range(1, 8))
    for bad, says in (
        (np.clip(40 * sound, -1, 1), "clipped"),
        (hum, "only the hum of the mains is heard, 50 Hz"),
        (shaken(strings), "the bar moves: it swings 8 cents either way, 5.0 times a second"),
        (np.zeros(2 * RATE), "nothing heard"),
    ):
        with pytest.raises(UnreadSound, match=says):
            heard_together(bad, RATE, strings)


@pytest.mark.long
def test_three_real_strings_together_once_each_was_learned():
    """Strokes that were not learned, moved by exact resampling and mixed; an octave pair among them.

    Truth: what each stroke reads alone. Bound: 0.2 cents for nine of ten, 0.3 for 95 %.
    """
    known, alone = {}, {}
    for key, hz in KEYS_HZ.items():
        learned_from = [stroke(key, velocity, 2.0)[0] for velocity in (4, 7)]
        rate = stroke(key, 4)[1]
        learned = learn(learned_from, rate, Expected(1, key, hz, 3e-4))
        known[key] = Expected(1, key, hz, learned.stiffness, learned.ways)
    draw = np.random.default_rng(0)
    errors, claims = [], []
    for _ in range(8):
        keys = draw.choice(sorted(KEYS_HZ), 3, replace=False)
        mixed, truth = np.zeros(2 * rate), []
        for key in keys:
            sound, _ = stroke(key, draw.choice([10, 13, 16]), 2.3)
            name = key, float(sound[0])
            if name not in alone:
                alone[name] = heard(sound[: 2 * rate], rate, [known[key]]).cents
            frames = len(sound) + int(draw.integers(-180, 180))
            mixed += resample(sound, frames)[: 2 * rate] / sound.std()
            truth.append(alone[name] + 1200 * np.log2(len(sound) / frames))
        strings = [replace(known[key], string=place) for place, key in enumerate(keys, 1)]
        chord = heard_together(mixed, rate, strings)
        errors += [*np.abs(chord.cents - truth)]
        claims += [*chord.error_cents]
    assert np.quantile(errors, 0.9) < 0.2
    assert np.mean(np.array(errors) < 0.3) >= 0.95
    assert np.median(errors) < 0.06
    assert np.mean(np.array(errors) < 2 * np.array(claims)) >= 0.85
