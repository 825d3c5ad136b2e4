"""Drop read back from what a pitch meter shows."""

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from tests import rigs
from tonegen.drop import Drop
from tonegen.dropfit import PitchReading, fit_drop
from tonegen.errors import BadValue
from tonegen.instrument import Change, Instrument, TuningPoint
from tonegen.presets import drop, instrument

E9 = instrument("e9-ten-string")
OFFSETS = {TuningPoint(8): 3.0, TuningPoint(5): -1.0, TuningPoint(5, ("A",)): -12.0, TuningPoint(6): -11.0}


def shown(rig, profile, string, changes, offsets):
    """What a perfect meter shows: where the point was tuned, and the sag of the changes beside it."""
    state = rig.state(changes)
    return offsets.get(rig.point(string, state), 0.0) + profile.since_tuned(rig, string, state)


def readings(rig, profile, asked, offsets, noise_cents=0.0, seed=0):
    draw = np.random.default_rng(seed)
    return [
        PitchReading(
            string,
            tuple(changes),
            shown(rig, profile, string, changes, offsets) + draw.normal(0, noise_cents),
        )
        for string, changes in asked
    ]


ASKED = [
    (8, []), (8, ["A"]), (8, ["B"]), (8, []), (8, ["A"]),
    (5, []), (5, ["A"]), (5, ["A", "B"]), (5, ["B"]), (5, ["F"]),
    (6, ["A"]), (6, []), (6, ["B"]), (6, ["B", "C"]),
]  # fmt: skip


def test_exact_readings_give_the_drop_back():
    additive = Drop("invented", drop("demo-soft-cabinet").cents)
    fit = fit_drop(E9, readings(E9, additive, ASKED, OFFSETS))

    found = {(each.string, each.change): each.cents for each in fit.drops}
    assert set(found) == {(8, "A"), (8, "B"), (5, "B"), (5, "F"), (6, "A"), (6, "C")}
    for (string, change), cents in found.items():
        assert cents == pytest.approx(additive.cents[change].get(string, 0.0), abs=1e-9)
    assert {each.point: each.cents for each in fit.points}[TuningPoint(5, ("A",))] == pytest.approx(-12)
    assert not fit.outliers
    assert fit.profile("read").cents["A"][8] == pytest.approx(-2.3)


def test_standard_errors_by_hand():
    """Two readings open and two with the pedal, 0.1 cent each: 0.1 * sqrt(1/2 + 1/2)."""
    asked = [(8, []), (8, []), (8, ["A"]), (8, ["A"])]
    fit = fit_drop(E9, readings(E9, drop("demo-soft-cabinet"), asked, OFFSETS), meter_cents=0.1)

    assert fit.drops[0].standard_error_cents == pytest.approx(0.1)


@pytest.mark.parametrize("slip", range(len(ASKED)))
def test_a_slip_is_found_where_others_decide(slip):
    """A reading 6 cents off: named if the string was read often enough to know; never a wrong one blamed."""
    additive = Drop("invented", drop("demo-soft-cabinet").cents)
    taken = readings(E9, additive, ASKED * 2, OFFSETS, 0.05)
    wrong = taken[slip]
    taken[slip] = PitchReading(wrong.string, wrong.changes, wrong.cents + 6)
    fit = fit_drop(E9, taken + readings(E9, additive, ASKED, OFFSETS, 0.05, seed=7))

    assert [each.reading for each in fit.outliers] == [taken[slip]]
    assert fit.outliers[0].off_cents == pytest.approx(6, abs=0.4)
    for each in fit.drops:
        assert abs(each.cents - additive.cents[each.change].get(each.string, 0.0)) < 0.3


@st.composite
def read_rigs(draw):
    """Any instrument, any drop, and readings enough to decide it, some of them twice, in any order."""
    strings = draw(st.integers(1, 5))
    changes = []
    for number in range(draw(st.integers(1, 4))):
        moved = draw(st.sets(st.integers(1, strings), min_size=0 if strings == 1 else 1, max_size=strings))
        changes.append(
            Change(f"C{number}", {string: draw(st.sampled_from([-2, -1, 1, 2])) for string in moved})
        )
    rig = Instrument("any", "", rigs.strings(*range(40, 40 + 5 * strings, 5)), tuple(changes))
    seed = draw(st.integers(0, 2**32 - 1))
    random = np.random.default_rng(seed)
    asked = []
    for string in range(1, strings + 1):
        asides = [change.name for change in changes if string not in change.semitones]
        own = [change.name for change in changes if string in change.semitones]
        asked += [(string, [])] * draw(st.integers(1, 3))
        asked += [(string, [name]) for name in own for _ in range(draw(st.integers(0, 2)))]
        asked += [(string, [name]) for name in asides for _ in range(draw(st.integers(1, 2)))]
        asked += [(string, [*own[:1], name]) for name in asides if draw(st.booleans())]
        if len(asides) > 1:
            asked.append((string, asides[:2]))
    random.shuffle(asked)
    profile = Drop("any", {
        change.name: {string: float(random.uniform(-8, 0)) for string in range(1, strings + 1)}
        for change in changes
    })  # fmt: skip
    offsets = {point: float(random.uniform(-30, 30)) for point in rig.tuning_points()}
    return rig, profile, asked, offsets, seed


@pytest.mark.long
def test_drop_within_three_stated_errors_99_percent_of_the_time():
    """0.1 cent of noise on random instruments: 99 figures of 100 within three standard errors."""
    inside = []

    @given(read_rigs())
    @settings(max_examples=150, deadline=None, derandomize=True, database=None)
    def read_one(drawn):
        rig, profile, asked, offsets, seed = drawn
        fit = fit_drop(rig, readings(rig, profile, asked, offsets, 0.1, seed))
        for each in fit.drops:
            # Only differences from the string's own changes can be read, as in Instrument.drop_cents.
            true = profile.cents[each.change][each.string]
            inside.append(abs(each.cents - true) <= 3 * each.standard_error_cents)

    read_one()
    assert len(inside) > 500
    assert np.mean(inside) >= 0.99


@pytest.mark.parametrize("seed", range(12))
def test_good_readings_are_not_refused(seed):
    additive = Drop("invented", drop("demo-soft-cabinet").cents)
    assert not fit_drop(E9, readings(E9, additive, ASKED * 3, OFFSETS, 0.1, seed)).outliers


def test_few_readings_that_scatter_are_trusted_less():
    """By hand: four readings a cent apart in pairs, two to spare; three sigmas widened to Student's t."""
    taken = [PitchReading(8, (), 0.0), PitchReading(8, (), 1.0)]
    taken += [PitchReading(8, ("A",), -3.0), PitchReading(8, ("A",), -2.0)]
    fit = fit_drop(E9, taken, meter_cents=0.1)

    scatter = np.sqrt(4 * 0.5**2 / 2)
    wider = scipy.stats.t.ppf(0.99865, 2) / 3
    assert fit.drops[0].cents == pytest.approx(-3)
    assert [each.refused for each in fit.outliers] == [False, False]
    assert fit.drops[0].standard_error_cents == pytest.approx(scatter * wider, rel=1e-3)


def test_a_poor_meter_is_noticed():
    """A meter that says 0.1 but scatters by 1 cent: the stated errors grow with what is seen."""
    asked = [(8, []), (8, ["A"]), (8, ["B"])] * 8
    fit = fit_drop(E9, readings(E9, drop("demo-soft-cabinet"), asked, OFFSETS, 1.0, 3), meter_cents=0.1)

    assert fit.scatter_cents == pytest.approx(1, rel=0.4)
    assert all(each.standard_error_cents > 0.3 for each in fit.drops)


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_a_slip_is_found_beside_the_scatter_of_a_poor_meter(seed):
    """A meter that says 0.1 but scatters by 1 cent: 15 cents are a slip of the hand, what scatters is not."""
    asked = [(8, []), (8, ["A"]), (8, ["B"])] * 8
    taken = readings(E9, drop("demo-soft-cabinet"), asked, OFFSETS, 1.0, seed)
    wrong = taken[4] = PitchReading(8, taken[4].changes, taken[4].cents + 15)
    fit = fit_drop(E9, taken, meter_cents=0.1)

    assert [each.reading for each in fit.outliers] == [wrong]


def test_what_cannot_be_told_apart_is_said():
    """A and F always together: their sum is read, neither of the two."""
    asked = [(6, []), (6, ["A", "F"]), (6, ["A", "F"])]
    fit = fit_drop(E9, readings(E9, drop("demo-soft-cabinet"), asked, OFFSETS))

    assert not fit.drops
    assert fit.undecided == ((6, "A"), (6, "F"))


def test_the_next_readings_help_most():
    """One string read but for F: that reading comes before a second look at what is known."""
    rig = Instrument("two", "", rigs.strings(60, 55), (Change("A", {1: 2}), Change("B", {1: 1})))
    asked = [(2, []), (2, ["A"]), (1, []), (1, ["A"]), (1, ["B"])]
    fit = fit_drop(rig, readings(rig, Drop("any", {}), asked, {}))

    first = fit.next_readings[0]
    assert (first.string, first.changes) == (2, ("B",))
    gains = [each.gain_cents for each in fit.next_readings]
    assert gains == sorted(gains, reverse=True)
    assert first.gain_cents == pytest.approx(6 - np.hypot(0.1, 0.1), abs=0.01)


def test_nothing_read():
    with pytest.raises(BadValue, match="no readings"):
        fit_drop(E9, [])
