"""From a wish to a plan, and a grip of the player's own instrument as material."""

from math import log2

import pytest

from tonegen import presets
from tonegen.ear.planning import USUAL, Wish, material_of, plan_of
from tonegen.ear.session import Method
from tonegen.ear.trials import Bed, TrialKind, chord_name, half_a_beat_cents, parse_chords
from tonegen.ear.words import length_in_words
from tonegen.errors import BadValue
from tonegen.interval import Ratio
from tonegen.sounding import tones_of_grip


def tones(grip, changes=(), temperament="equal", drop="none"):
    e9 = presets.instrument("e9-ten-string")
    state = e9.state(dict.fromkeys(changes, 1.0))
    named = e9.grip(grip) if isinstance(grip, str) else e9.grip_of(grip, state)
    tuned = presets.temperament(temperament)
    return tones_of_grip(e9, named, state, 0.0, tuned, presets.drop(drop), 440.0)


@pytest.mark.parametrize("kind", [kind for kind in TrialKind if kind is not TrialKind.OWN])
def test_every_kind_has_a_usual_plan(kind):
    plan = plan_of(Wish(kind), seed=3)

    assert plan.trials == USUAL[kind].trials
    assert plan.task.bed is Bed.NONE
    names = ["minor third", "major third", "fourth", "fifth", "major sixth"]
    asked = names if kind is TrialKind.NAME else ["major third", "fifth"]
    assert [chord_name(chord) for chord in plan.tracks] == asked


def test_a_wish_overrides_what_is_usual():
    wish = Wish(
        TrialKind.PURER,
        parse_chords("4:5:6"),
        (100.0, 200.0),
        ((0.0,) * 12,),
        Bed.NOISE,
        5,
        Method.FIXED,
        (2.0, 4.0),
    )
    plan = plan_of(wish, seed=3)

    assert (plan.task.low_hz, plan.trials, plan.levels_cents) == ((100.0, 200.0), 5, (2.0, 4.0))
    assert (plan.task.bed, plan.task.spectra) == (Bed.NOISE, ((0.0,) * 12,))


def test_the_length_of_a_sound_is_a_choice():
    """Drawn by itself for each sound, a fifth shorter or longer, so that it tells nothing."""
    assert plan_of(Wish(TrialKind.PURER, seconds=5), seed=3).task.seconds == (4.0, 6.0)
    assert plan_of(Wish(TrialKind.PURER), seed=3).task.seconds == (1.6, 2.4)
    for kind, seconds, said in (
        (TrialKind.PURER, 0.4, "0.5 and 30"), (TrialKind.PURER, 31, "0.5 and 30"),
        (TrialKind.PURER, float("nan"), "0.5 and 30"), (TrialKind.SET, 5, "goes on until you answer"),
    ):  # fmt: skip
        with pytest.raises(BadValue, match=said):
            plan_of(Wish(kind, seconds=seconds), seed=3)


def test_what_a_length_allows():
    """Partials 3 of 165 Hz and 2 of a fifth above: half a beat in 2 s is 0.25 a second, on 495 Hz.

    The cents of that are 1200 log2(495.25 / 495), for the upper tone alone moves.
    """
    assert half_a_beat_cents(2, 165, Ratio(3, 2)) == pytest.approx(1200 * log2(495.25 / 495))
    assert half_a_beat_cents(8, 165, Ratio(3, 2)) == pytest.approx(0.219, abs=0.001)
    said = length_in_words(plan_of(Wish(TrialKind.PURER, parse_chords("3:2"), seconds=8), 1).task)
    assert said == "Each sounds for about 8 s: half a beat takes 0.2 cents on a fifth, from 165 Hz."
    assert length_in_words(plan_of(Wish(TrialKind.RATE), 1).task) == ""


def test_a_grip_stands_for_the_ratios_that_its_degrees_say():
    """Strings 6, 5, 4, 3 with A and B: A3 C#4 E4 A4 (common practice, no source)."""
    found = material_of(tones((3, 4, 5, 6), ["A", "B"]))
    chord, (low, high) = found.chord, found.low_hz

    assert chord_name(chord) == "4:5:6:8"
    assert (low, high) == pytest.approx((220.0, 440.0))


def test_a_grip_lies_where_the_players_temperament_and_drop_put_it():
    plain, _ = material_of(tones((4, 5, 6))).low_hz
    own, _ = material_of(tones((4, 5, 6), ["A"], "five-limit-just", "demo-soft-cabinet")).low_hz
    sounding = min(tone.hz for tone in tones((4, 5, 6), ["A"], "five-limit-just", "demo-soft-cabinet"))

    assert own == pytest.approx(sounding)
    assert own != pytest.approx(plain, rel=1e-4)


def test_a_grip_is_asked_about_as_it_is_tuned_and_sags():
    """In equal temperament 6:5 is 15.6 and 8:5 13.7 cents narrow: 300 and 800 cents, less the ratio's."""
    equal = material_of(tones((4, 5, 6)))
    assert equal.names == ("string 6", "string 5", "string 4")
    # G#3 B3 E4: 6:5 and 8:5 above the lowest.
    assert equal.tempered_cents == pytest.approx((0, 300 - 315.641, 800 - 813.686), abs=0.001)
    sagging = material_of(tones((6, 5, 4), ["A", "B"], "five-limit-just", "demo-soft-cabinet"))
    assert sagging.tempered_cents != pytest.approx((0, 0, 0), abs=0.2)
    plan = plan_of(
        Wish(TrialKind.OWN, (equal.chord,), names=equal.names, tempered_cents=equal.tempered_cents), 1
    )
    assert (plan.trials, plan.levels_cents, plan.task.tempered_cents) == (16, (2.0,), equal.tempered_cents)
    with pytest.raises(BadValue, match="give a grip of your instrument"):
        plan_of(Wish(TrialKind.OWN), 1)


def test_one_string_is_no_material():
    with pytest.raises(BadValue, match="two strings"):
        material_of(tones((4,)))
