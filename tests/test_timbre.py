"""Timbres: levels that sum to 1, the partials of stiff strings, and the presets."""

from pathlib import Path

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tonegen import presets
from tonegen.errors import BadValue
from tonegen.interval import Ratio
from tonegen.presets.timbres import TimbreFields, timbre_from
from tonegen.synthesis.timbre import Timbre, Tone, beating_only

PRESETS = sorted((Path(__file__).parents[1] / "presets" / "timbres").glob("*.toml"))


def test_the_levels_of_a_timbre_sum_to_1():
    timbre = Timbre((1, 2, 3), (2, -1, 1))

    assert timbre.levels == (0.5, 0.25, 0.25)
    assert timbre.phases_turns == (0.0, 0.5, 0.0)  # a negative level is half a turn


def test_a_slope_is_per_octave():
    levels_db = 20 * np.log10(Timbre.sloped(8, -6.0).levels)

    assert levels_db[[1, 3, 7]] - levels_db[0] == pytest.approx([-6, -12, -18])


def test_the_partials_of_a_stiff_string():
    """Frequencies at B = 1e-4 and 100 Hz unstretched: published checks INH-4, after H. Fletcher (1964)."""
    computed = "100.005000 200.039996 300.134970 400.319872 500.624610 601.079030 701.712904 802.555917"
    partials_hz = np.array([float(hz) for hz in computed.split()])

    tone = Tone(100.005, Timbre.sloped(8, -6.0, follows_string=True), stiffness=1e-4)

    assert tone.hz * tone.partial_multiples() == pytest.approx(partials_hz, rel=1e-8)


def test_only_timbres_of_strings_follow_the_string():
    organ = Tone(110, Timbre.sloped(8, -6.0), stiffness=1e-4)
    unknown = Tone(110, Timbre.sloped(8, -6.0, stiffness=2e-4, follows_string=True))
    known = Tone(110, unknown.timbre, stiffness=0.0)

    assert organ.partial_multiples() == pytest.approx(np.arange(1, 9), abs=1e-12)
    assert unknown.partial_multiples()[7] > 8.04
    assert known.partial_multiples() == pytest.approx(np.arange(1, 9), abs=1e-12)


def test_only_the_partials_that_beat():
    """G#4 and B4 against E4: of E4 the 5th and 3rd are heard, of G#4 the 4th, of B4 the 2nd."""
    tones = [Tone(hz, Timbre.sloped(8, -6.0)) for hz in (329.63, 415.3, 493.88, 660.0)]

    e, g_sharp, b, unpaired = beating_only(tones, [(0, 1, Ratio(5, 4)), (0, 2, Ratio(3, 2))])

    assert (e.only, g_sharp.only, b.only, unpaired.only) == ({5, 3}, {4}, {2}, set())
    whole = np.array(e.timbre.levels)
    assert e.heard_levels() == pytest.approx(np.where(np.isin(np.arange(1, 9), [3, 5]), whole, 0))
    assert unpaired.heard_levels().sum() == 0


def test_every_preset_is_a_timbre():
    assert {path.stem for path in PRESETS} == {"pure", "harmonic", "string", "bass", "organ", "plucked"}
    for path in PRESETS:
        assert sum(presets.timbre(path.stem).levels) == pytest.approx(1)


@pytest.mark.parametrize("name", ["harmonic", "string", "organ", "plucked"])
@pytest.mark.parametrize("ratio", ["3:2", "4:3", "5:4", "6:5", "5:3", "8:5"])
def test_the_beating_partials_are_plain_to_hear(name, ratio):
    """Each within 20 dB of the loudest partial: the beat of thirds and sixths is not lost in the rest."""
    timbre, pair = presets.timbre(name), Ratio.parse(ratio)
    levels = dict(zip(timbre.multiples, timbre.levels, strict=True))

    faintest = min(levels[pair.upper], levels[pair.lower])
    assert 20 * np.log10(faintest / max(timbre.levels)) > -20


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"partials": 4}, "slope_db_per_octave"),
        ({"levels_db": [0.0], "partials": 1}, "leave out partials"),
        ({"levels_db": []}, "1 to 256 partials, not 0"),
        ({"levels_db": [0.0, -3.0], "multiples": [1.0]}, "1 partials need 1 levels, not 2"),
        ({"levels_db": [0.0, -3.0], "multiples": [1.0, 1.0]}, "once"),
        ({"levels_db": [0.0, -3.0], "multiples": [1.0, -2.0]}, "partial multiple -2"),
        ({"levels_db": [float("nan")]}, "outside -200 to 200"),
        ({"levels_db": [0.0], "phases_turns": [float("inf")]}, "phases"),
        ({"partials": 4, "slope_db_per_octave": float("nan")}, "slope nan"),
        ({"partials": 4, "slope_db_per_octave": -6.0, "phases_turns": [0.0]}, "go with levels_db"),
        ({"partials": 4, "slope_db_per_octave": -6.0, "stiffness": -1.0}, "stiffness"),
        ({"partials": 4, "slope_db_per_octave": -6.0, "decay_db_per_second": -1.0}, "decay -1"),
    ],
)
def test_fields_that_cannot_be_meant(fields, says):
    with pytest.raises(BadValue, match=says) as refusal:
        timbre_from(msgspec.convert({"title": "invented", **fields}, TimbreFields))

    assert "\n" not in str(refusal.value)


numbers = st.one_of(st.floats(), st.integers(-3, 300), st.none())


@given(
    st.fixed_dictionaries(
        {"title": st.text(max_size=5)},
        optional={
            "partials": numbers,
            "slope_db_per_octave": numbers,
            "levels_db": st.lists(numbers, max_size=4),
            "multiples": st.lists(numbers, max_size=4),
            "phases_turns": st.lists(numbers, max_size=4),
            "decay_db_per_second": numbers,
            "stiffness": numbers,
            "follows_string": st.booleans(),
        },
    )
)
def test_any_fields_give_a_timbre_or_one_clear_error(fields):
    try:
        timbre = timbre_from(msgspec.convert(fields, TimbreFields))
    except (BadValue, msgspec.ValidationError):
        return
    assert sum(timbre.levels) == pytest.approx(1)
    assert np.isfinite(Tone(100, timbre).partial_multiples()).all()


@pytest.mark.parametrize(
    "wrong", [{"hz": 0}, {"hz": float("nan")}, {"level": 1.1}, {"level": float("nan")}, {"stiffness": -1.0}]
)
def test_tones_that_cannot_be_meant(wrong):
    with pytest.raises(BadValue):
        Tone(**{"hz": 220.0, **wrong})
