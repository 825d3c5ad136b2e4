"""What sounds together: grips on instruments, their intervals, and the ratios that they stand for."""

import numpy as np
import pytest

from tonegen import presets
from tonegen.drop import NO_DROP, Drop
from tonegen.errors import BadValue
from tonegen.instrument import TuningPoint
from tonegen.interval import Audible, Direction, Ratio
from tonegen.pitch import parse_note
from tonegen.sounding import interval_between, sound, tone_of_hz, tone_of_key, tones_of_grip
from tonegen.synthesis.timbre import PURE
from tonegen.temperament import EQUAL, OwnTemperament

E9 = presets.instrument("e9-ten-string")


def grip(strings, changes=(), fret=0.0, temperament=EQUAL, drop=NO_DROP, reference_hz=440.0, timbre=PURE):
    state = E9.state(changes)
    tones = tones_of_grip(
        E9, E9.grip_of(strings, state), state, fret, temperament, drop, reference_hz, timbre
    )
    return sound(tones, reference_hz)


def test_an_a_triad_with_both_pedals_at_the_third_fret():
    """A and B raise the open E triad to A; three frets up it is C. Rates worked out by hand from hz."""
    sounding = grip((3, 4, 5), ["A", "B"], fret=3)
    c5, g4, e4 = (440 * 2 ** (3 / 12), 440 * 2 ** (-2 / 12), 440 * 2 ** (-5 / 12))

    assert [tone.name for tone in sounding.tones] == ["C5", "G4", "E4"]
    assert [tone.hz for tone in sounding.tones] == pytest.approx([c5, g4, e4], rel=1e-14)
    rates = {(it.low.name, it.high.name): it.beats_per_second for it in sounding.intervals}
    assert rates == pytest.approx(
        {("E4", "G4"): 5 * g4 - 6 * e4, ("E4", "C5"): 5 * c5 - 8 * e4, ("G4", "C5"): 3 * c5 - 4 * g4}
    )


def test_drop_flattens_what_the_pedals_do_not_move():
    drop = Drop("two", {"A": {4: -2.0}, "B": {4: -1.5}})
    still, moved = grip((3, 4, 5), ["A", "B"]), grip((3, 4, 5), ["A", "B"], drop=drop)

    assert moved.tones[1].drop_cents == -3.5
    assert 1200 * np.log2(moved.tones[1].hz / still.tones[1].hz) == pytest.approx(-3.5)
    assert moved.tones[0] == still.tones[0]


def test_beats_grow_with_the_fret_and_cents_do_not():
    """A straight bar moves every string alike: rates double at the twelfth fret."""
    nut, octave = grip((3, 4, 5)), grip((3, 4, 5), fret=12)
    for low, high in zip(nut.intervals, octave.intervals, strict=True):
        assert high.beats_per_second == pytest.approx(2 * low.beats_per_second)
        assert high.cents_from_just == pytest.approx(low.cents_from_just, abs=1e-9)


@pytest.mark.parametrize(("fret", "drone", "first"), [(0, "G4", "D4"), (4, "G4", "F#4"), (7, "A4", "A4")])
def test_the_drone_of_a_banjo_begins_at_the_fifth_fret(fret, drone, first):
    """Common practice, no source: its nut is at the fifth fret, where the bar begins to raise it."""
    banjo = presets.instrument("banjo-open-g")
    both = banjo.grip_of((1, 5), banjo.state())
    long_string, short_string = tones_of_grip(banjo, both, banjo.state(), fret, EQUAL, NO_DROP, 440.0)

    assert (long_string.name, short_string.name) == (first, drone)
    assert long_string.hz == pytest.approx(440 * 2 ** ((parse_note(first) - 69) / 12))
    assert short_string.hz == pytest.approx(440 * 2 ** ((parse_note(drone) - 69) / 12))


def test_a_short_string_is_as_tight_as_its_own_length_asks():
    """The first string and the drone are of one gauge and meet in one note, G4 at the fifth fret."""
    banjo = presets.instrument("banjo-open-g")
    first, drone = banjo.string(1), banjo.string(5)

    assert drone.wire.length_inches == pytest.approx(26.25 * 2 ** (-5 / 12))
    assert banjo.stiffness(1, banjo.state(), 5) == pytest.approx(drone.stiffness)
    assert first.wire.fraction_of_strength(293.6648) == pytest.approx(
        drone.wire.fraction_of_strength(391.9954), rel=1e-6
    )


def test_a_saved_grip_says_what_each_interval_stands_for():
    """Strings 5 and 9 of an E7: the fifth and the seventh of the chord, a minor third by degrees."""
    sounding = grip((3, 4, 5, 6, 8, 9, 10))
    seventh = next(it for it in sounding.intervals if (it.low.string, it.high.string) == (9, 5))

    assert seventh.ratio == Ratio(5, 3)  # 3:2 above 9:5 of the octave below
    assert {tone.string: tone.role for tone in sounding.tones}[9] == "b7"


def test_strings_in_no_saved_grip_stand_for_the_likeliest_ratio():
    third = grip((4, 6)).intervals[0]
    assert (third.low.string, third.high.string, str(third.ratio)) == (6, 4, "8:5")


def test_own_offsets_are_heard():
    own = OwnTemperament("mine", E9.name, {TuningPoint(3): -13.6863})
    sounding = grip((3, 4), temperament=own)

    assert abs(sounding.intervals[0].beats_per_second) < 1e-3
    assert sounding.intervals[0].direction is Direction.PURE


def test_stiff_strings_beat_differently_from_whole_partials():
    """INH-B-E4G#4: gauges .014 and .011 at 24.25 in, 13.081 a second ideal, 12.607 stiff."""
    ideal, stiff = grip((3, 4)), grip((3, 4), timbre=presets.timbre("string"))

    assert ideal.intervals[0].beats_per_second == pytest.approx(13.081005755, abs=1e-6)
    assert stiff.intervals[0].beats_per_second == pytest.approx(12.606785456, abs=1e-4)


def test_half_engaged_changes_are_named_by_the_nearest_note():
    sounding = grip((2, 5), {"DD": 0.5, "A": 0.4})
    assert [tone.name for tone in sounding.tones] == ["D4", "C4"]
    assert [round(tone.offset_cents) for tone in sounding.tones] == [0, -20]


def test_coincident_pairs_above_the_lowest_are_listed():
    third = interval_between(tone_of_hz(220, 440), tone_of_hz(277, 440))
    assert [(pair.low_partial, pair.high_partial) for pair in third.pairs] == [(5, 4), (10, 8), (15, 12)]
    assert [pair.beats_per_second for pair in third.pairs] == pytest.approx([8, 16, 24])
    assert third.audible is Audible.BEATS


def test_a_bass_note_is_heard_against_every_string():
    bass = tone_of_key(parse_note("E2"), 0.0, 440)
    sounding = sound([bass, *grip((4, 5), ["A"]).tones], 440)

    assert {(it.low.name, it.high.name, str(it.ratio)) for it in sounding.intervals} == {
        ("E2", "E4", "4:1"), ("E2", "C#4", "10:3"), ("C#4", "E4", "6:5"),
    }  # fmt: skip


def test_the_reference_pitch_moves_everything():
    assert grip((3,), reference_hz=442).tones[0].hz == pytest.approx(grip((3,)).tones[0].hz * 442 / 440)


def test_a_ratio_is_for_two_tones():
    tones = [tone_of_hz(hz, 440) for hz in (200, 250, 300)]
    with pytest.raises(BadValue, match="two tones"):
        sound(tones, 440, Ratio(5, 4))
    assert sound(tones[:2], 440, Ratio(6, 5)).intervals[0].ratio == Ratio(6, 5)
