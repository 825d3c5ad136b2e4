"""From a wish to a plan, and a grip of the player's own instrument as material."""

import pytest

from tonegen import presets
from tonegen.ear.planning import USUAL, Wish, material_of, plan_of
from tonegen.ear.session import Method
from tonegen.ear.trials import Bed, TrialKind, chord_name, parse_chords
from tonegen.errors import BadValue
from tonegen.sounding import tones_of_grip


def tones(grip, changes=(), temperament="equal", drop="none"):
    e9 = presets.instrument("e9-ten-string")
    state = e9.state(dict.fromkeys(changes, 1.0))
    named = e9.grip(grip) if isinstance(grip, str) else e9.grip_of(grip, state)
    tuned = presets.temperament(temperament)
    return tones_of_grip(e9, named, state, 0.0, tuned, presets.drop(drop), 440.0)


@pytest.mark.parametrize("kind", TrialKind)
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


def test_a_grip_stands_for_the_ratios_that_its_degrees_say():
    """Strings 6, 5, 4, 3 with A and B: A3 C#4 E4 A4 (common practice, no source)."""
    chord, (low, high) = material_of(tones((3, 4, 5, 6), ["A", "B"]))

    assert chord_name(chord) == "4:5:6:8"
    assert (low, high) == pytest.approx((220.0, 440.0))


def test_a_grip_lies_where_the_players_temperament_and_drop_put_it():
    plain, _ = material_of(tones((4, 5, 6)))[1]
    own, _ = material_of(tones((4, 5, 6), ["A"], "five-limit-just", "demo-soft-cabinet"))[1]
    sounding = min(tone.hz for tone in tones((4, 5, 6), ["A"], "five-limit-just", "demo-soft-cabinet"))

    assert own == pytest.approx(sounding)
    assert own != pytest.approx(plain, rel=1e-4)


def test_one_string_is_no_material():
    with pytest.raises(BadValue, match="two strings"):
        material_of(tones((4,)))
