"""The scale of an instrument: who decides where strings disagree, and what the keyboards then beat."""

import numpy as np
import pytest

from tonegen.drop import Drop
from tonegen.errors import BadValue
from tonegen.instrument import Change, Grip, Instrument, String, TuningPoint
from tonegen.interval import Ratio, beats_per_second
from tonegen.keys import midi
from tonegen.keys.desk import Desk
from tonegen.keys.receivers import receiver
from tonegen.keys.scale import (
    Heard,
    Policy,
    heard_grips,
    heard_state,
    scale_of_classes,
    scale_of_dumps,
    scale_of_instrument,
    scale_of_temperament,
)
from tonegen.pitch import hz_from_key, parse_note
from tonegen.presets import drop, instrument, temperament
from tonegen.setup.rig import Rig
from tonegen.temperament import EQUAL, OwnTemperament

E9 = instrument("e9-ten-string")
JUST_ON_E = temperament("five-limit-just").on(4)


def own(offsets, name="three strings"):
    return OwnTemperament("mine", name, {TuningPoint(string): cents for string, cents in offsets.items()})


# Two strings that both play E4, and a G#3; grips that take one E or the other.
THREE = Instrument(
    "three strings", "Three strings", (String(1, parse_note("E4")), String(2, parse_note("E4")),
    String(3, parse_note("G#3"))),
    grips=(Grip("high", (1, 3)), Grip("low", (2, 3)), Grip("both", (1, 2))),
)  # fmt: skip
MINE = own({1: 6.0, 2: -2.0, 3: -14.0})


def scale(**more):
    heard = more.pop("heard", heard_grips(THREE, ("high", "low")))
    return scale_of_instrument(THREE, MINE, heard, **more)


def test_equal_temperament_without_drop_asks_nothing_of_the_keys():
    made = scale_of_instrument(E9, EQUAL, heard_grips(E9), fret=5)

    assert np.abs(made.key_cents).max() < 1e-9
    assert made.spread == ()


def test_the_mean_of_strings_that_disagree():
    made = scale()

    assert made.key_cents[parse_note("E4")] == pytest.approx(2.0)
    assert made.class_cents[parse_note("G#3") % 12] == pytest.approx(-14.0)


def test_a_grip_may_weigh_more():
    made = scale(heard=heard_grips(THREE, ("high", "low"), {"high": 3.0}))

    assert made.key_cents[parse_note("E4")] == pytest.approx((3 * 6.0 + 1 * -2.0) / 4)


@pytest.mark.parametrize(("leading", "cents"), [("high", 6.0), ("low", -2.0)])
def test_the_named_grip_first(leading, cents):
    made = scale(policy=Policy.GRIP_FIRST, first=THREE.grip(leading))

    assert made.key_cents[parse_note("E4")] == pytest.approx(cents)


def test_the_spread_is_told_in_cents_and_beats():
    (spread,) = scale().spread

    assert (spread.note, spread.lowest_cents, spread.highest_cents) == (
        "E",
        pytest.approx(-2),
        pytest.approx(6),
    )
    apart = hz_from_key(64, 6.0) - hz_from_key(64, -2.0)
    assert spread.beats_per_second == pytest.approx(float(apart))
    assert spread.cents == pytest.approx(8.0)
    assert any("string 2" in one for one in spread.strings)


def test_notes_that_no_string_plays_come_from_a_temperament():
    fill = temperament("quarter-comma-meantone")
    made = scale(fill=fill)

    for pitch_class in set(range(12)) - {4, 8}:
        assert made.class_cents[pitch_class] == pytest.approx(fill.offset_of_key(pitch_class))
    assert scale().class_cents[5] == 0.0


def test_a_note_that_a_state_lacks_stays_where_other_states_have_it():
    """Pedal A takes the only B of this neck to C#; yet B does not jump to equal temperament.

    A lever takes the G# string to B as well. So three strings have it in all states: the open one with the
    lever and without, at 4 cents, and the lever's, at -12; their mean holds.
    """
    neck = Instrument(
        "neck", "Neck", (String(1, parse_note("B3")), String(2, parse_note("G#3"))),
        (Change("A", {1: 2}), Change("L", {2: 3})),
    )  # fmt: skip
    mine = OwnTemperament("mine", "neck", {TuningPoint(1): 4.0, TuningPoint(2): -9.0,
                          TuningPoint(1, ("A",)): 7.0, TuningPoint(2, ("L",)): -12.0})  # fmt: skip
    desk = Desk(
        {"One": receiver("mts-single-note")},
        Rig(neck, mine),
        fill=temperament("quarter-comma-meantone"),
    )
    desk.engage("A", 1.0)
    made = desk.scale()

    assert made.class_cents[11] == pytest.approx((4 + 4 - 12) / 3)
    assert made.key_cents[parse_note("B4")] == pytest.approx((4 + 4 - 12) / 3)
    assert made.class_cents[1] == pytest.approx(7), "C# is there, and counts alone"
    assert made.class_cents[8] == pytest.approx(-9)
    assert made.class_cents[0] == pytest.approx(temperament("quarter-comma-meantone").offset_of_key(0))

    desk.engage("A", 0.0)
    assert desk.scale().class_cents[11] == pytest.approx(4), "the open string has it again"


def test_the_bar_takes_the_scale_along():
    open_strings, at_three = scale(), scale(fret=3)

    assert at_three.key_cents[parse_note("G4")] == pytest.approx(open_strings.key_cents[parse_note("E4")])
    assert at_three.heard_keys == (parse_note("B3"), parse_note("G4"))


def test_drop_and_state_are_heard():
    soft = drop("demo-soft-cabinet")
    state = E9.state(["A", "B"])
    dropped = scale_of_instrument(E9, JUST_ON_E, heard_state(E9, state), drop=soft)
    firm = scale_of_instrument(E9, JUST_ON_E, heard_state(E9, state))

    string = E9.string(4)  # E, which pedals A and B do not move
    sag = soft.since_tuned(E9, 4, state)
    assert sag < 0
    assert dropped.key_cents[string.open_key] - firm.key_cents[string.open_key] == pytest.approx(sag)


def test_half_stops_are_heard():
    half = scale_of_instrument(E9, EQUAL, heard_state(E9, E9.state({"A": 0.25})))

    # pedal A raises string 5 from B by two semitones: a quarter of the travel is 50 cents above B
    assert abs(half.key_cents[parse_note("B3")]) == pytest.approx(50) or half.key_cents[60] == pytest.approx(
        -50
    )


CHORD = Grip("triad", (1, 2, 3), roles=("1", "3", "5"), ratios=(Ratio(1, 1), Ratio(5, 4), Ratio(3, 2)))
TRIAD = Instrument(
    "triad", "A just triad", tuple(String(n + 1, key) for n, key in enumerate((60, 64, 67))), grips=(CHORD,)
)
JUST_TRIAD = own({1: 0.0, 2: -13.686286, 3: 1.955001}, "triad")


def least(temperament=JUST_TRIAD):
    return scale_of_instrument(
        TRIAD, temperament, [Heard(CHORD, TRIAD.state())], policy=Policy.LEAST_BEATS, first=CHORD
    )


def test_least_beats_against_a_just_chord_doubles_it_purely():
    made = least()

    for key, cents in ((72, 0.0), (76, -13.686286), (79, 1.955001), (48, 0.0)):
        assert made.key_cents[key] == pytest.approx(cents, abs=1e-6)


# The consonances up to the minor sixth, by semitones within the octave (the trade's names; 5-limit).
CONSONANT = {0: (1, 1), 3: (6, 5), 4: (5, 4), 5: (4, 3), 7: (3, 2), 8: (8, 5), 9: (5, 3), 12: (2, 1)}


def test_least_beats_is_the_least():
    """Against a chord that is not pure: any other pitch of a key beats more, all told."""
    rough = own({1: 4.0, 2: -6.0, 3: -3.0}, "triad")
    made = least(rough)
    tones = [float(hz_from_key(key, cents)) for key, cents in ((60, 4.0), (64, -6.0), (67, -3.0))]

    def beating(key, cents):
        total = 0.0
        for nominal, hz in zip((60, 64, 67), tones, strict=True):
            consonance = CONSONANT.get(abs(key - nominal))
            if consonance is None:
                continue
            low, high = sorted((hz, float(hz_from_key(key, cents))))
            rate = float(beats_per_second(low, high, Ratio(*consonance)))
            total += rate**2 / (consonance[0] * consonance[1])
        return total

    for key in (60, 62, 63, 64, 67, 69, 72):
        best = beating(key, made.key_cents[key])
        assert best < beating(key, made.key_cents[key] + 0.05)
        assert best < beating(key, made.key_cents[key] - 0.05)


@pytest.mark.parametrize(
    ("semitones", "upper", "lower"),
    [(7, 3, 2), (4, 5, 4), (12, 2, 1), (19, 3, 1), (-7, 3, 2), (-4, 5, 4), (-9, 5, 3)],
)
def test_least_beats_against_one_string_is_a_pure_interval(semitones, upper, lower):
    """Above the string its partial `upper` meets the key's `lower`; below it the other way round."""
    alone = Grip("alone", (1,))
    string = Instrument("one", "One string", (String(1, 60),), grips=(alone,))
    made = scale_of_instrument(
        string, own({1: 9.0}, "one"), [Heard(alone, string.state())], policy=Policy.LEAST_BEATS
    )
    ratio = upper / lower if semitones > 0 else lower / upper

    assert made.hz[60 + semitones] / made.hz[60] == pytest.approx(ratio, rel=1e-12)
    assert made.hz[60] == pytest.approx(float(hz_from_key(60, 9.0)), rel=1e-12)


def test_least_beats_of_a_pitch_class_is_the_least_of_all_its_octaves():
    """A receiver with twelve offsets: one for every F, whose octaves the chord pulls to different places."""
    rough = {60: 4.0, 64: -6.0, 67: -3.0}
    made = least(own(dict(zip((1, 2, 3), rough.values(), strict=True)), "triad"))
    tones = {key: float(hz_from_key(key, cents)) for key, cents in rough.items()}

    def beating(pitch_class, cents):
        total = 0.0
        for key in range(pitch_class, 128, 12):
            for nominal, hz in tones.items():
                apart = abs(key - nominal)
                octaves = max(0, apart // 12)
                consonance = (CONSONANT | {2: (9, 8)}).get(apart % 12)  # 9:4 and 9:2 are simple enough
                if consonance is None or apart > 31:
                    continue
                ratio = Ratio(consonance[0] << octaves, consonance[1])
                if ratio.upper * ratio.lower > 40:
                    continue
                low, high = sorted((hz, float(hz_from_key(key, cents))))
                total += float(beats_per_second(low, high, ratio)) ** 2 / (ratio.upper * ratio.lower)
        return total

    for pitch_class in (0, 3, 4, 5, 7, 8, 9):
        offset = made.class_cents[pitch_class]
        assert beating(pitch_class, offset) < beating(pitch_class, offset + 0.1), pitch_class
        assert beating(pitch_class, offset) < beating(pitch_class, offset - 0.1), pitch_class
    f = [made.key_cents[key] for key in range(5, 128, 12)]
    assert max(f) - min(f) > 1, "its octaves do differ"


def test_straight_from_a_temperament():
    made = scale_of_temperament(temperament("quarter-comma-meantone").on(0), 442.0)

    assert made.hz[69] == pytest.approx(442.0 * 2 ** (made.class_cents[9] / 1200))
    assert made.hz[64] / made.hz[60] == pytest.approx(5 / 4)


def test_a_player_s_own_temperament_needs_its_instrument():
    with pytest.raises(BadValue, match="give --instrument"):
        scale_of_temperament(MINE)


@pytest.mark.parametrize("bank", [None, 3])
def test_dumps_that_others_made_are_taken_in(bank):
    offsets = np.linspace(-40, 40, 128)
    (dump,) = midi.key_dump(offsets, "WORKSHOP", 0, bank).messages
    made = scale_of_dumps([midi.parse_tuning(dump)])

    assert made.name == "WORKSHOP"
    assert made.key_cents[1:127] == pytest.approx(offsets[1:127], abs=0.0031)


def test_octave_dumps_are_taken_in():
    (dump,) = midi.octave_dump(
        [10, -14, 3, 20, -3, 14, -10, 7, -17, 0, 17, -7], "MEANTONE", two_bytes=False
    ).messages
    made = scale_of_dumps([midi.parse_tuning(dump)])

    assert list(made.class_cents) == [10, -14, 3, 20, -3, 14, -10, 7, -17, 0, 17, -7]
    assert made.key_cents[60] == made.key_cents[0] == 10


def test_a_request_holds_no_tuning():
    with pytest.raises(BadValue, match="holds no tuning"):
        scale_of_dumps([midi.parse_tuning(midi.dump_request(3))])


def test_scales_are_checked_and_cannot_be_changed_behind_a_plan():
    made = scale_of_classes("one", [0] * 12)
    with pytest.raises(ValueError, match="read-only"):
        made.key_cents[0] = 1.0
    with pytest.raises(BadValue, match="twelve offsets"):
        scale_of_classes("short", [0] * 11)
    with pytest.raises(BadValue, match="finite"):
        scale_of_classes("nan", [float("nan")] * 12)
    with pytest.raises(BadValue, match="reference pitch"):
        scale_of_classes("low", [0] * 12, 300.0)
    with pytest.raises(BadValue, match="not among the grips to follow"):
        scale(policy=Policy.GRIP_FIRST, first=THREE.grip("both"))
    assert Drop("none", {}).of(1, {}) == 0
