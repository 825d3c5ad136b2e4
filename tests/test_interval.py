"""Beats, ratios and counts against printed tables; every expected value comes from outside the project."""

from math import log2

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.tables import published, rows
from tonegen.errors import BadValue
from tonegen.interval import (
    JUST_INTERVALS,
    Ratio,
    audible,
    beats_per_second,
    candidates,
    cents_from_just,
    direction,
    high_hz_from_beats,
    nearest_ratio,
    partial_hz,
    readings_of_count,
)
from tonegen.pitch import hz_from_key, parse_note

RATIO_OF = {
    "P8": Ratio(2, 1), "P5": Ratio(3, 2), "P4": Ratio(4, 3), "M3": Ratio(5, 4), "m3": Ratio(6, 5),
    "M6": Ratio(5, 3), "m6": Ratio(8, 5), "P12": Ratio(3, 1), "M10": Ratio(5, 2), "M17": Ratio(5, 1),
    "unison": Ratio(1, 1), "P1": Ratio(1, 1), "P15": Ratio(4, 1),
}  # fmt: skip
tones = st.floats(20, 4000)
ratios = st.builds(Ratio, st.integers(1, 19), st.integers(1, 19))


@pytest.mark.parametrize(
    "row", published("s1_beats_published", label=lambda r: f"{r.interval} {r.low_note}-{r.high_note}, {r.id}")
)
def test_beat_rate_as_printed(row):
    """The tolerance follows from the last digit that the source prints; most sources print no sign.

    Rows that DISAGREE are mistakes of their source: there the definition is compared.
    """
    rate = float(beats_per_second(float(row.f_low_hz), float(row.f_high_hz), RATIO_OF[row.interval]))

    assert rate == pytest.approx(float(row.recomputed_signed), rel=0, abs=5e-8)
    if row.verdict.startswith("agrees"):
        printed = abs(float(row.published_beats_per_s))
        assert abs(rate) == pytest.approx(printed, rel=0, abs=float(row.tolerance))


def test_the_printed_table_is_not_empty():
    assert len(rows("s1_beats_published")) > 50


@pytest.mark.parametrize(
    "row", published("s1_beats_e9_open_et", label=lambda r: f"strings {r.strings} {r.interval}")
)
def test_open_strings_of_an_e9_in_equal_temperament(row):
    low, high = hz_from_key(parse_note(row.low_note)), hz_from_key(parse_note(row.high_note))
    rate = float(beats_per_second(low, high, RATIO_OF[row.interval]))

    assert rate == pytest.approx(float(row.signed_beats_per_s), rel=0, abs=1e-8)


@pytest.mark.parametrize(
    "row", published("s2_kirnberger3_beats", label=lambda r: f"{r.interval} {r.low_note}-{r.high_note}")
)
def test_a_piano_tuner_counts_kirnberger_to_the_quarter_beat(row):
    """N. Taylor, ringing.info: an aural plan for Kirnberger III, signs and quarter beats as printed."""
    rate = float(beats_per_second(float(row.f_low), float(row.f_high), RATIO_OF[row.interval]))

    assert rate == pytest.approx(float(row.published_signed_beats), rel=0, abs=0.13)
    assert np.sign(rate) == np.sign(float(row.published_signed_beats))


INTERVALS_BY_FIFTHS = {  # of a meantone: fifths up, octaves
    "5th": (1, 0, Ratio(3, 2)), "4th": (-1, 1, Ratio(4, 3)), "M3": (4, -2, Ratio(5, 4)),
    "m3": (-3, 2, Ratio(6, 5)), "M6": (3, -1, Ratio(5, 3)), "m6": (-4, 3, Ratio(8, 5)),
}  # fmt: skip


@pytest.mark.parametrize(
    "row",
    published(
        "s1_equal_beating_fifths", label=lambda r: f"{r.interval_1} = {r.interval_2}, {r.printed_column}"
    ),
)
def test_the_fifth_that_makes_two_intervals_beat_equally(row):
    """J. Chalmers (1996), after R. Rasch: at the printed fifth the two rates above one tone are equal."""
    fifth_cents = float(row.recomputed_fifth_cents)
    assert fifth_cents == pytest.approx(float(row.published_fifth_cents), abs=1.5e-4)

    rates = []
    for name in (row.interval_1, row.interval_2):
        fifths, octaves, ratio = INTERVALS_BY_FIFTHS[name]
        high = 200 * 2 ** ((fifths * fifth_cents + 1200 * octaves) / 1200)
        rates.append(abs(float(beats_per_second(200, high, ratio))))

    assert rates[0] == pytest.approx(rates[1], rel=0, abs=1e-5 * max(1, rates[0]))


def test_sign_thirds_of_equal_temperament_are_wide_and_fifths_narrow():
    """Common practice, no source."""
    assert beats_per_second(*hz_from_key([57, 61]), Ratio(5, 4)) > 0
    assert beats_per_second(*hz_from_key([57, 64]), Ratio(3, 2)) < 0
    assert [direction(rate) for rate in (3.0, -3.0, 0.0)] == ["wide", "narrow", "pure"]


@pytest.mark.parametrize("row", published("s2_intervals", label=lambda r: r.interval))
def test_just_intervals_in_cents(row):
    """A. J. Ellis in Helmholtz, App. XX, to the thousandth of a cent as usually printed."""
    if row.ratio == "-":  # the atom: twelve syntonic commas less eleven Pythagorean ones
        cents = 12 * Ratio(81, 80).cents - 11 * Ratio(531441, 524288).cents
    else:
        cents = Ratio.parse(row.ratio).cents
    assert cents == pytest.approx(float(row.cents_exact), rel=0, abs=1e-9)
    assert cents == pytest.approx(float(row.cents_as_usually_printed), rel=0, abs=5.1e-4)


@pytest.mark.parametrize(
    ("ratio", "name"),
    [
        ("5:4", "major third"), ("6:5", "minor third"), ("3:2", "fifth"), ("7:4", "harmonic seventh"),
        ("9:8", "major whole tone"), ("10:9", "minor whole tone"), ("45:32", "augmented fourth"),
        ("11:9", "undecimal neutral third"), ("13:8", "thirteenth harmonic"),
        ("17:16", "seventeenth harmonic"), ("19:16", "nineteenth harmonic"), ("40:27", "grave fifth"),
    ],
)  # fmt: skip
def test_trade_names(ratio, name):
    """Names as in Ellis's table (the values file lists the same)."""
    assert Ratio.parse(ratio).name == name


def test_every_named_ratio_keeps_to_the_19_limit_and_to_one_name():
    for ratio in JUST_INTERVALS:
        rest = ratio.upper * ratio.lower
        for prime in (2, 3, 5, 7, 11, 13, 17, 19):
            while rest % prime == 0:
                rest //= prime
        assert rest == 1, f"{ratio} is beyond the 19-limit"
    assert len(set(JUST_INTERVALS.values())) == len(JUST_INTERVALS)


def test_wide_intervals_are_named_by_octaves():
    assert Ratio(10, 3).name == "major sixth and 1 octave"
    assert Ratio(6, 1).name == "fifth and 2 octaves"
    assert [Ratio(number, 1).name for number in (4, 8, 16)] == ["double octave", "3 octaves", "4 octaves"]
    assert Ratio(23, 16).name == ""


@given(tones, ratios, st.floats(-15, 15), st.floats(0, 1e-3), st.floats(0, 1e-3))
def test_a_beat_gives_its_tone_back_exactly(low_hz, ratio, beats, low_b, high_b):
    assume(ratio.upper * low_hz > 2 * abs(beats))
    b = {"low_stiffness": low_b, "high_stiffness": high_b}
    high_hz = high_hz_from_beats(beats, low_hz, ratio, **b)

    assert float(beats_per_second(low_hz, high_hz, ratio, **b)) == pytest.approx(beats, rel=0, abs=1e-9)


@given(tones, ratios, st.floats(0, 15))
def test_a_count_allows_one_tone_on_each_side(low_hz, ratio, beats):
    assume(ratio.upper * low_hz > 2 * beats)
    wide, narrow = readings_of_count(beats, low_hz, ratio)

    assert wide.cents_from_just >= -1e-9
    assert narrow.cents_from_just <= 1e-9
    p, q = ratio.upper, ratio.lower
    exact = 1200 * log2((p * low_hz + beats) / (q * low_hz)) - 1200 * log2(p / q)
    assert wide.cents_from_just == pytest.approx(exact, rel=0, abs=1e-8)


def test_stiff_partials_lie_where_fletcher_puts_them():
    """INH-4: B = 1e-4, ideal fundamental 100 Hz; a reading shows its first partial, 100.005 Hz."""
    row = next(row for row in rows("s4_inharmonicity") if row.id == "INH-4")
    expected = [float(hz) for hz in row.recomputed.split()]
    first = 100 * np.sqrt(1 + 1e-4)

    assert partial_hz(first, np.arange(1, 11), 1e-4) == pytest.approx(expected, rel=0, abs=1e-6)


@pytest.mark.parametrize(
    ("identity", "low", "high", "ratio", "low_b", "high_b"),
    [
        ("INH-B-E4G#4", "E4", "G#4", Ratio(5, 4), 3.176689397e-05, 1.235427854e-05),
        ("INH-B-B3G#4", "B3", "G#4", Ratio(5, 3), 8.345932243e-05, 1.235427854e-05),
    ],
)
def test_stiffness_slows_the_beat_of_a_wide_interval(identity, low, high, ratio, low_b, high_b):
    row = next(row for row in rows("s4_inharmonicity") if row.id == identity)
    low_hz, high_hz = hz_from_key(parse_note(low)), hz_from_key(parse_note(high))
    rate = beats_per_second(low_hz, high_hz, ratio, low_stiffness=low_b, high_stiffness=high_b)

    assert float(rate) == pytest.approx(float(row.recomputed), rel=0, abs=1e-7)
    assert float(rate) < float(beats_per_second(low_hz, high_hz, ratio))


def test_higher_coincident_pairs_beat_in_proportion():
    first, second, third = (float(beats_per_second(220, 277, Ratio(5, 4), multiple=m)) for m in (1, 2, 3))
    assert (second, third) == pytest.approx((2 * first, 3 * first))


@pytest.mark.parametrize(
    ("semitones", "ratio"),
    [(0, "1:1"), (1, "16:15"), (2, "9:8"), (3, "6:5"), (4, "5:4"), (5, "4:3"), (7, "3:2"), (8, "8:5"),
     (9, "5:3"), (11, "15:8"), (12, "2:1"), (15, "12:5"), (16, "5:2"), (19, "3:1"), (21, "10:3"),
     (24, "4:1")],
)  # fmt: skip
def test_equal_intervals_stand_for_what_players_tune(semitones, ratio):
    """Common practice, no source."""
    assert str(nearest_ratio(100.0, 100 * 2 ** (semitones / 12))) == ratio


@given(st.floats(-5000, 5000))
def test_candidates_are_near_and_each_once(cents):
    found = candidates(cents, within_cents=30)

    assert len({candidate.ratio for candidate in found}) == len(found)
    for candidate in found:
        assert abs(candidate.cents_from_just) <= 30
        assert candidate.ratio.cents + candidate.cents_from_just == pytest.approx(cents, abs=1e-6)


def test_the_ear_counts_up_to_fifteen_and_down_to_one_in_twenty_seconds():
    """Fastl & Zwicker, Psychoacoustics (2007): roughness from 15 to 20 a second; lower limit: no source."""
    assert [audible(rate) for rate in (0.0, 0.04, 0.06, 14.9, 15.1, -15.1)] == [
        "too slow", "too slow", "beats", "beats", "roughness", "roughness",
    ]  # fmt: skip


def test_pure_is_slower_than_any_tone_lasts():
    """Our own limit, no source: one beat in more than a thousand seconds."""
    rates = (0.0009, -0.0009, 0.0011, -0.0011)
    assert [direction(rate) for rate in rates] == ["pure", "pure", "wide", "narrow"]


def test_a_million_intervals_in_one_call():
    low = np.linspace(50, 500, 1_000_000)
    rate = beats_per_second(low, low * 1.26, Ratio(5, 4))

    assert rate.shape == low.shape
    assert rate[123_456] == pytest.approx(4 * 1.26 * low[123_456] - 5 * low[123_456])


@pytest.mark.parametrize(
    "wrong", ["0:1", "1:0", "5", "5:", "a:b", "-5:4", "5:4:3", "1.5:1", "", "1:10000000"]
)
def test_what_is_no_ratio_is_refused(wrong):
    with pytest.raises(BadValue, match=r"ratio|whole numbers"):
        Ratio.parse(wrong)


@pytest.mark.parametrize(("low", "high"), [(0, 5), (5, 0), (np.nan, 5), (5, np.inf), (-1, 5)])
def test_what_is_no_interval_is_refused(low, high):
    with pytest.raises(BadValue, match="above zero"):
        beats_per_second(low, high, Ratio(3, 2))


def test_what_cannot_be_counted_is_refused():
    for wrong in (-1.0, np.nan, np.inf):
        with pytest.raises(BadValue):
            readings_of_count(wrong, 220, Ratio(5, 4))
    with pytest.raises(BadValue, match="no tone beats that fast"):
        readings_of_count(2000, 220, Ratio(5, 4))
    with pytest.raises(BadValue, match="stiffness"):
        beats_per_second(220, 275, Ratio(5, 4), low_stiffness=-1)
    with pytest.raises(BadValue, match="finite"):
        candidates(np.nan)


def test_cents_from_just_is_the_error_of_the_fundamentals():
    """Equal-tempered major third: 400 - 386.313713864835 (Ellis) = 13.686 cents wide."""
    assert float(cents_from_just(*hz_from_key([60, 64]), Ratio(5, 4))) == pytest.approx(13.686286, abs=1e-6)


@given(ratios, st.integers(-5, 5))
def test_an_interval_moves_by_whole_octaves_and_back(ratio, octaves):
    moved = ratio.shifted(octaves)

    assert moved.cents == pytest.approx(ratio.cents + 1200 * octaves, abs=1e-9)
    assert moved.shifted(-octaves) == ratio
