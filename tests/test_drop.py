"""Cabinet drop: how far strings sag while changes are engaged."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tonegen import presets
from tonegen.drop import Drop
from tonegen.errors import BadValue
from tonegen.instrument import Change, Instrument, String

E9 = presets.instrument("e9-ten-string")

DROP = Drop("test", {"A": {4: -2.0, 6: -1.5}, "B": {4: -1.0, 5: -0.5}}, {frozenset("AB"): {4: -2.5}})


def test_drop_adds_over_changes_unless_measured_together():
    assert DROP.since_tuned(E9, 4, E9.state(["A"])) == -2.0
    assert DROP.since_tuned(E9, 4, E9.state(["A", "B"])) == -2.5  # measured, not -3
    assert DROP.since_tuned(E9, 4, E9.state(["A", "B", "F"])) == -2.5


def test_the_largest_measured_combination_goes_first_and_uses_its_changes_up():
    """A+B+C measured together says it all; with only A, B and F engaged, A+B is measured and F is added."""
    drop = Drop(
        "measured",
        {"A": {8: -1.0}, "B": {8: -1.0}, "C": {8: -1.0}},
        {frozenset("AB"): {8: -1.5}, frozenset("BC"): {8: -1.25}, frozenset("ABC"): {8: -2.25}},
    )
    assert drop.of(8, {"A": 1, "B": 1, "C": 1}) == -2.25
    assert drop.of(8, {"A": 1, "B": 1}) == -1.5
    pairs = Drop(
        "pairs", drop.cents, {names: cents for names, cents in drop.combinations.items() if len(names) < 3}
    )
    assert pairs.of(8, {"A": 1, "B": 1, "C": 1}) == -2.5  # A+B, then C by itself: B counts once


def test_drop_counts_from_where_the_stop_was_tuned():
    """String 5 with A and B down: it was tuned with A down, so only what B does is left."""
    assert DROP.since_tuned(E9, 5, E9.state(["A", "B"])) == -0.5
    own = Drop("own", {"A": {5: -4.0}, "B": {5: -0.5}})
    assert own.since_tuned(E9, 5, E9.state(["A", "B"])) == -0.5
    assert own.since_tuned(E9, 5, E9.state(["A"])) == 0.0


def test_half_a_pedal_drops_half_as_much():
    assert DROP.since_tuned(E9, 4, E9.state({"A": 0.5})) == -1.0
    assert DROP.since_tuned(E9, 4, E9.state({"A": 0.5, "B": 0.5})) == pytest.approx(-1.25)
    # A half and B whole: -1 - 1, and the half cent that both spare, by half.
    assert DROP.since_tuned(E9, 4, E9.state({"A": 0.5, "B": 1.0})) == pytest.approx(-1.75)


def test_a_drop_profile_must_fit_the_instrument():
    assert DROP.checked_on(E9) is DROP
    with pytest.raises(BadValue, match="no pedals or levers"):
        DROP.checked_on(presets.instrument("banjo-open-g"))


names = st.sampled_from(["A", "B", "C", "X"])


@given(st.dictionaries(names, st.floats(-10, 0), min_size=1), st.sets(names))
def test_drop_is_additive_on_any_instrument(cents, engaged):
    strings = tuple(String(number, 60 - number) for number in range(1, 4))
    changes = tuple(Change(name, {1: 2}) for name in "ABCX")
    rig = Instrument("rig", "rig", strings, changes)
    drop = Drop("d", {name: {2: value} for name, value in cents.items()})

    expected = sum(cents.get(name, 0.0) for name in engaged)
    assert drop.since_tuned(rig, 2, rig.state(engaged)) == pytest.approx(expected, abs=1e-12)
    assert drop.since_tuned(rig, 1, rig.state(engaged)) == 0.0
