"""Notes, keys, cents and hz against published tables and an independent library."""

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tables import published
from tonegen.errors import BadValue
from tonegen.pitch import (
    cents_between,
    checked_reference_hz,
    hz_from_key,
    key_from_hz,
    nearest_key,
    note_name,
    parse_note,
    parse_pitch,
    parse_pitch_class,
)

EQUAL_TABLES = published(
    "s1_frequencies_published",
    label=lambda row: f"{row.note} {row.pitch_reference}, {row.id}",
    keep=lambda row: "just" not in row.pitch_reference,
)


@pytest.mark.parametrize("row", EQUAL_TABLES)
def test_equal_temperament_as_printed(row):
    """Within the last digit that the source prints; rows that are known misprints agree with theory only."""
    reference_hz = 440.0 if row.pitch_reference == "A4=440" else 256.0 * 2 ** (9 / 12)
    hz = float(hz_from_key(parse_note(row.note), 0, reference_hz))

    assert hz == pytest.approx(float(row.recomputed_hz), rel=0, abs=1e-8)
    if row.verdict == "agrees" and row.id != "ETF-FIS-E4":
        digits = len(row.published_hz.partition(".")[2])
        assert hz == pytest.approx(float(row.published_hz), rel=0, abs=10**-digits)


def test_hz_agrees_with_an_independent_library_to_a_billionth_of_a_cent():
    """mpmath, 50 digits, as the independent opinion."""
    rng = np.random.default_rng(1)
    keys = rng.integers(0, 128, 200)
    offsets = rng.uniform(-100, 100, 200)
    references = rng.uniform(380, 500, 200)
    ours = hz_from_key(keys, offsets, references)
    with mpmath.workdps(50):
        for key, offset, reference, hz in zip(keys, offsets, references, ours, strict=True):
            semitones = mpmath.mpf(int(key) - 69) + mpmath.mpf(float(offset)) / 100
            exact = mpmath.mpf(float(reference)) * mpmath.power(2, semitones / 12)
            assert abs(1200 * mpmath.log(mpmath.mpf(float(hz)) / exact, 2)) < 1e-9


def test_cents_agree_with_an_independent_library():
    """mpmath 1.3: 1200*log(3/2, 2) = 701.9550008653874177..., from 50 digits."""
    with mpmath.workdps(50):
        fifth = float(1200 * mpmath.log(mpmath.mpf(3) / 2, 2))
    assert float(cents_between(200, 300)) == pytest.approx(fifth, rel=0, abs=1e-9)


def test_middle_c_and_concert_a():
    """MIDI 1.0: key 60 is middle C; MIDI Tuning Standard: key 69 is A at 440 Hz."""
    assert parse_note("C4") == 60
    assert parse_note("A4") == 69
    assert float(hz_from_key(69)) == 440.0
    assert float(hz_from_key(60)) == pytest.approx(261.6256, abs=5e-5)


@given(st.integers(0, 127), st.booleans())
def test_every_key_has_a_name_that_reads_back(key, flats):
    assert parse_note(note_name(key, flats)) == key


@given(st.floats(10, 20_000), st.floats(380, 500))
def test_nearest_key_and_offset_give_the_frequency_back(hz, reference_hz):
    key, offset = nearest_key(hz, reference_hz)

    assert -50 <= offset <= 50
    assert float(hz_from_key(key, offset, reference_hz)) == pytest.approx(hz, rel=1e-13)


@pytest.mark.parametrize(
    ("written", "key"),
    [
        ("Bb3", 58),
        ("B♭3", 58),
        ("E#4", 65),
        ("Cb4", 59),
        ("C##4", 62),
        ("Cx4", 62),
        ("Dbb4", 60),
        ("b3", 59),
        ("C-1", 0),
    ],
)
def test_spellings(written, key):
    assert parse_note(written) == key


@pytest.mark.parametrize(
    "wrong", ["H3", "", "C", "C#", "4", "C#b4", "C4x", "A10", "G#9", "Cb-1", "C¹", "𝄪C4"]
)
def test_what_is_no_note_is_refused_with_its_name(wrong):
    with pytest.raises(BadValue, match="note"):
        parse_note(wrong)


@pytest.mark.parametrize("wrong", ["H", "", "C4", "Q#"])
def test_what_is_no_pitch_class_is_refused(wrong):
    with pytest.raises(BadValue, match="name of a note"):
        parse_pitch_class(wrong)


@pytest.mark.parametrize("hz", [0.0, -1.0, np.nan, np.inf, -np.inf])
def test_no_tone_without_a_frequency(hz):
    with pytest.raises(BadValue, match="above zero"):
        key_from_hz(hz)
    with pytest.raises(BadValue, match="above zero"):
        cents_between(np.array([440.0, hz]), 500.0)


@pytest.mark.parametrize("wrong", [379.9, 500.1, np.nan, np.inf, -440])
def test_reference_pitch_has_limits(wrong):
    with pytest.raises(BadValue, match="reference pitch"):
        checked_reference_hz(wrong)


def test_pitches_as_they_are_written():
    assert parse_pitch("A3").hz_at(440) == 220
    assert parse_pitch("A3").hz_at(442) == 221
    assert parse_pitch("220").hz_at(442) == 220
    assert parse_pitch("220.5hz").hz_at(440) == 220.5
    assert parse_pitch("A3-12").hz_at(440) == pytest.approx(220 * 2 ** (-12 / 1200), rel=1e-15)
    assert parse_pitch("A3+3.5c").cents == 3.5
    assert parse_pitch("1200c").hz_at(440, above_hz=220) == 440
    with pytest.raises(BadValue, match="is relative to another tone"):
        parse_pitch("386c").hz_at(440)
    for wrong in ("nan", "inf", "-220", "0", "-inf", "A", "A3+", "3,4"):
        with pytest.raises(BadValue):
            parse_pitch(wrong)


def test_a_million_keys_in_one_call():
    keys = np.tile(np.arange(128.0), 8_000)
    assert hz_from_key(keys).shape == keys.shape
    assert np.array_equal(hz_from_key(keys)[:128], [float(hz_from_key(key)) for key in range(128)])
