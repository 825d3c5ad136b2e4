"""How two strings beat while they are tuned, told as they ring: made with known truth."""

from dataclasses import replace

import numpy as np
import pytest

from tests.listen.strings import RATE, partial_hz, plucked
from tests.listen.test_chord import two
from tests.listen.test_live import told
from tonegen.listen.beating import Alone, BeatHearing, BeatingPair, HeardBeating, strings_of
from tonegen.listen.chord import HeardBeat
from tonegen.listen.clock import CardClock
from tonegen.listen.slow import slow_beat
from tonegen.listen.spectrum import Expected

WITHIN = 0.1


def picked(sound, rest=0.3):
    """A sound after a rest in a quiet room."""
    room = 1e-4 * np.random.default_rng(0).standard_normal(round(rest * RATE))
    return np.concatenate([room, sound])


def third(beats, wanted, seconds=2.2):
    sound, (low, high) = two(4, beats, seconds=seconds)
    return picked(sound), BeatingPair(low, high, 5, 4, wanted, WITHIN)


def test_a_pair_that_is_right_is_held_as_long_as_it_rings():
    sound, pair = third(0.8, 0.8)
    found = [each for _, each in told(BeatHearing(RATE, pair), sound)]
    assert [each.beat.beats_per_second for each in found] == pytest.approx([0.8] * 3, abs=0.02)
    assert [each.right_seconds for each in found] == pytest.approx([1, 1.5, 2], abs=0.03)


def test_strings_that_rang_before_anybody_listened_are_told_as_such():
    ringing, pair = third(0.8, 0.8)
    hearing = BeatHearing(RATE, pair)
    found = [
        each for _, each in told(hearing, np.concatenate([ringing[RATE:], np.zeros(RATE // 8), ringing]))
    ]
    assert [each.rang_before for each in found] == [True] * (len(found) - 3) + [False] * 3
    assert len(found) > 3


def test_a_pair_that_is_not_says_by_how_much_and_on_which_side():
    sound, pair = third(-2.1, 0.8, seconds=1.3)
    ((_, found),) = told(BeatHearing(RATE, pair), sound)
    assert found.beat.beats_per_second == pytest.approx(-2.1, abs=0.02)
    assert (found.beat.side_is_known, found.right_seconds) == (True, 0.0)


def test_what_is_not_sure_is_not_right():
    _, pair = third(0.8, 0.8, seconds=0.1)
    assert [pair.is_right(HeardBeat(0.8, error, True)) for error in (0.1, 0.11)] == [True, False]
    assert not pair.is_right(HeardBeat(0.8, 0.02, False))  # nor is what may be narrow


def test_it_is_held_over_a_new_pick_but_not_over_one_that_is_wrong():
    right, pair = third(2.1, 2.1, seconds=1.2)
    wrong, _ = third(4.0, 2.1, seconds=1.2)
    silence = np.zeros(RATE // 8)
    hearing = BeatHearing(RATE, pair)
    found = [each for _, each in told(hearing, np.concatenate([right, silence, right, silence, wrong]))]
    sure = [each.right_seconds for each in found if each.beat.error < WITHIN]
    assert sure == pytest.approx([1, 2, 0], abs=0.03)


@pytest.mark.parametrize("beats", [0.0, 0.3])
def test_what_should_be_pure_is_right_once_no_beat_is_left(beats):
    sound, pair = third(beats, 0.0, seconds=1.7)
    found = [each for _, each in told(BeatHearing(RATE, pair), sound)][-1]
    assert abs(found.beat.beats_per_second) == pytest.approx(beats, abs=0.1)
    assert (found.right_seconds > 0) == (beats == 0)


@pytest.mark.parametrize("beats", [0.05, 0.1, 0.2, 0.5])
def test_a_slow_beat_lies_between_the_rates_that_are_told(beats):
    sound, (low, _) = two(2, beats)
    found = slow_beat(sound[: 4 * RATE], RATE, low.hz * 5)
    assert found.lowest - 0.06 <= beats <= found.highest + 0.06  # no finer than the rates that are tried
    assert found.highest - found.lowest < 0.15


@pytest.mark.parametrize(("alone", "rate"), [(Alone.HIGH, 3.0), (Alone.LOW, -3.0)])
def test_one_string_beats_against_a_tone_that_stands_by_itself(alone, rate):
    """Its second partial against the third of a tone; the string is 3 Hz sharp there."""
    hz = 330.0 + 3.0 / float(partial_hz(1.0, 2, 5e-5))
    string, tone = Expected(4, "E4", 330.0, 5e-5), Expected(0, "tone", partial_hz(330.0, 2, 5e-5) / 3, 0.0)
    pair = (
        BeatingPair(tone, string, 3, 2, 0.0, WITHIN, alone)
        if alone is Alone.HIGH
        else BeatingPair(string, tone, 2, 3, 0.0, WITHIN, alone)
    )
    assert strings_of(pair) == [4]
    sound, _ = plucked(1, hz, 5e-5, seconds=1.2, noise_db=60)
    fast = CardClock(58.0, 1.0)  # 0.1 cent of 663 Hz is 0.04
    for clock, more in ((None, 0.0), (fast, 0.038 * np.sign(rate))):
        ((_, found),) = told(BeatHearing(RATE, pair, clock), picked(sound))
        assert found.beat.beats_per_second == pytest.approx(rate + more, abs=0.02)
        assert found.beat.side_is_known


def test_a_string_that_is_missing_is_named_once():
    sound, pair = third(1.0, 1.0, seconds=2.0)
    other = replace(pair, high=Expected(7, "D4", 290.0, 1e-5))
    ((_, found),) = told(BeatHearing(RATE, other), sound)
    assert "string 7 is not heard" in str(found.beat)


def test_the_tones_that_the_program_plays_of_a_step_are_taken_out():
    """It plays both targets, which lie beside the strings' own partials, 0.8 beats a second apart."""
    sound, (low, high) = two(4, 2.1, seconds=1.5)
    high = replace(high, hz=high.hz + 0.2)  # whose fourth partial then beats 0.8 times a second
    sound, pair = picked(sound, rest=2.5), BeatingPair(low, high, 5, 4, 0.8, WITHIN)
    at = np.arange(len(sound)) / RATE
    own = np.concatenate([pair.low.hz * np.arange(1, 7), pair.high.hz * np.arange(1, 7)])
    both = sound + sum(0.01 * np.cos(2 * np.pi * hz * at + hz) for hz in own)
    hearing = BeatHearing(RATE, pair)
    hearing.sounds(own)
    found = told(hearing, both)[0][1]
    assert isinstance(found, HeardBeating)
    assert found.beat.beats_per_second == pytest.approx(2.1, abs=0.03)


def test_who_is_behind_does_not_listen_to_what_is_old():
    sound, pair = third(0.8, 0.8, seconds=1.5)
    hearing = BeatHearing(RATE, pair)
    blocks = np.array_split(sound, 100)
    assert [each for block in blocks[:-1] for each in hearing.feed(block, behind=True)] == []
    assert len(hearing.feed(blocks[-1])) == 1
