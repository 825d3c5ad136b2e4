"""Tempering against answers that are known: published, exact, or worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import LinearConstraint, minimize

from tests import rigs
from tests.tables import published, rows
from tonegen.drop import Drop
from tonegen.errors import BadValue
from tonegen.instrument import Change, Instrument, TuningPoint
from tonegen.interval import Ratio
from tonegen.presets import instrument
from tonegen.presets.scenes import scene
from tonegen.reads import parse_place, reading
from tonegen.temperament import OwnTemperament, offsets_from_ratios
from tonegen.tempering.convex import conflicting, least_worst
from tonegen.tempering.demands import DemandKind, demands_of
from tonegen.tempering.scene import BandPart, Limit, Pin, Scene, parse_pin
from tonegen.tempering.temper import Objective, temper, temper_demands
from tonegen.tempering.tradeoff import front_of

CENTS, BEATS, WORST_CENTS, WORST_BEATS = Objective

MEANTONES = {
    "MT-1": (CENTS, ("major", "minor")),
    "MT-2": (CENTS, ("major",)),
    "MT-3": (CENTS, ("no fifth", "major", "minor")),
    "MT-m": (WORST_CENTS, ("major", "minor")),
}


@pytest.mark.parametrize("row", published("s3_optimal_meantone", lambda row: row.criterion))
def test_optimal_meantone(row):
    """Woolhouse's and others, exact fractions of the syntonic comma; the lever moves four fifths at once."""
    objective, thirds = MEANTONES[row.id]

    solved = temper(rigs.chain_of_equal_fifths(*thirds), objective)
    fifth = 700 + solved.offsets_cents[TuningPoint(1, ("M",))] / 4

    exact = Ratio(3, 2).cents - rigs.syntonic_commas(row.fraction_of_syntonic_comma)
    assert fifth == pytest.approx(exact, rel=0, abs=1e-6)
    assert fifth == pytest.approx(float(row.fifth_cents), rel=0, abs=1e-6)


def e9_problem(with_minor_third):
    e9 = instrument("e9-ten-string")
    grips = [
        rigs.wanted(e9, "E", {8: "1:1", 6: "5:4", 5: "3:2"}),
        rigs.wanted(e9, "A", {6: "1:1", 5: "5:4", 8: "3:2"}, ["A", "B"]),
        rigs.wanted(e9, "B F#", {5: "1:1", 1: "3:2"}),
        rigs.wanted(e9, "F# C#", {1: "1:1", 5: "3:2"}, ["A"]),
    ]
    if with_minor_third:
        grips.append(rigs.wanted(e9, "F# A", {1: "1:1", 6: "6:5"}, ["B"]))
    return Scene("E9", e9, tuple(grips), pins=(Pin(TuningPoint(8), 0.0),), stiff=False)


E9_POINTS = {
    "E": TuningPoint(8), "G#": TuningPoint(6), "B": TuningPoint(5), "A": TuningPoint(6, ("B",)),
    "C#": TuningPoint(5, ("A",)), "F#": TuningPoint(1),
}  # fmt: skip


@pytest.mark.parametrize("problem", ["E9-L1", "E9-L2"])
def test_e9_least_squares(problem):
    """Exact rational normal equations, by another program."""
    solved = temper(e9_problem(problem == "E9-L2"), CENTS)

    table = [row for row in rows("s3_e9_least_squares") if row.problem == problem]
    assert {row.note for row in table} == set(E9_POINTS)
    for row in table:
        # The table prints nine decimals of a cent.
        assert solved.offsets_cents[E9_POINTS[row.note]] == pytest.approx(
            float(row.offset_from_ET_cents_E0), rel=0, abs=1e-6
        )
    comma = Ratio(81, 80).cents
    squares = sum(interval.after.cents_from_just**2 for grip in solved.grips() for interval in grip.intervals)
    assert squares / comma**2 == pytest.approx(float(table[0].sum_sq_residual_commas2), rel=0, abs=1e-9)


JUST = ["1:1", "16:15", "9:8", "6:5", "5:4", "4:3", "45:32", "3:2", "8:5", "5:3", "9:5", "15:8"]


@pytest.mark.parametrize("objective", Objective)
def test_a_just_scale_is_found_exactly(objective):
    """Three chords that a just scale holds without error: every objective finds it, and no beat is left."""
    rig = Instrument("scale", "", rigs.strings(48, 52, 55, 53, 57, 60, 59, 62))
    grips = (
        rigs.wanted(rig, "tonic", {1: "1:1", 2: "5:4", 3: "3:2", 6: "1:1"}),
        rigs.wanted(rig, "subdominant", {4: "1:1", 5: "5:4", 6: "3:2"}),
        rigs.wanted(rig, "dominant", {3: "1:1", 7: "5:4", 8: "3:2"}),
    )
    solved = temper(Scene("just", rig, grips, pins=(Pin(TuningPoint(1), 0.0),)), objective)

    just = offsets_from_ratios([Ratio.parse(ratio) for ratio in JUST])
    for string in rig.strings:
        expected = just[(string.open_key - 48) % 12]
        assert solved.offsets_cents[TuningPoint(string.number)] == pytest.approx(expected, rel=0, abs=1e-6)
    assert solved.value < 1e-6
    assert not solved.binding


def two_grips_that_disagree():
    """String 1 over string 2: alone a fifth; with the pedal, which only makes string 2 sag, a fifth again."""
    rig = Instrument("pair", "", rigs.strings(55, 48), (Change("P", {3: 2}),))
    rig = replace(rig, strings=rigs.strings(55, 48, 40))
    grips = (
        rigs.wanted(rig, "open", {2: "1:1", 1: "3:2"}),
        rigs.wanted(rig, "pedal down", {2: "1:1", 1: "3:2"}, ["P"], weight=3),
    )
    drop = Drop("sag", {"P": {2: -4.0}})
    return Scene("pair", rig, grips, drop, pins=(Pin(TuningPoint(2), 0.0), Pin(TuningPoint(3), 0.0)))


def test_two_grips_disagree_by_the_drop():
    """By hand: pure is +1.955 open and -2.045 with the pedal; a weight of 3 draws it three quarters down."""
    pure = Ratio(3, 2).cents - 700
    solved = temper(two_grips_that_disagree(), CENTS)

    point = TuningPoint(1)
    assert solved.offsets_cents[point] == pytest.approx((pure + 3 * (pure - 4)) / 4, rel=0, abs=1e-6)
    (found,) = [each for each in solved.contradictions() if each.point == point]
    assert found.apart_cents == pytest.approx(4, abs=1e-6)
    # By hand: 3 cents narrow and 1 cent wide of a fifth on C3; a cent is 0.2267 beats a second there.
    low_hz = 440 * 2 ** ((48 - 69) / 12)
    per_cent = 3 * low_hz * np.log(2) / 1200
    assert dict(zip(found.names, found.beats_per_second, strict=True)) == pytest.approx(
        {"open": -3 * per_cent, "pedal down": 1 * per_cent}, rel=1e-3
    )
    assert "string 1 open" in str(found)
    assert "4.0 cents apart" in str(found)
    assert "costs 0.2 beats a second in one and 0.7 in the other" in str(found)


def test_what_a_grip_wants_is_where_its_beats_are_least():
    """G4 over C4 and over a C3 that is pinned 20 cents sharp: the fifth beats twice as fast as the twelfth.

    By hand: the grip of all three wants the fifth wide by 20 / (4 + 1) cents, that of two wants it pure.
    """
    rig = Instrument("three", "", rigs.strings(67, 60, 48))
    grips = (
        rigs.wanted(rig, "all", {3: "1:1", 2: "2:1", 1: "3:1"}),
        rigs.wanted(rig, "two", {2: "1:1", 1: "3:2"}),
    )
    pins = (Pin(TuningPoint(2), 0.0), Pin(TuningPoint(3), 20.0))
    solved = temper(Scene("three", rig, grips, pins=pins), BEATS)

    (found,) = [each for each in solved.contradictions() if each.point == TuningPoint(1)]
    pure = Ratio(3, 2).cents - 700
    assert dict(zip(found.names, found.wanted_cents, strict=True)) == pytest.approx(
        {"all": pure + 4, "two": pure}, abs=1e-6
    )
    # What it costs a grip is the fastest beat of the string there, not the slowest.
    worst = {
        grip.wanted.grip.name: max(
            abs(each.after.beats_per_second)
            for each in grip.intervals
            if 1 in (each.low.string, each.high.string)
        )
        for grip in solved.grips()
    }
    cost = {name: abs(rate) for name, rate in zip(found.names, found.beats_per_second, strict=True)}
    assert cost == pytest.approx(worst, rel=0.02)


def test_the_worst_is_shared_evenly():
    """By hand: with equal weights the least worst error is half of the 4 cents, once wide and once narrow."""
    scene_of_two = two_grips_that_disagree()
    grips = tuple(replace(grip, weight=1.0) for grip in scene_of_two.grips)
    solved = temper(replace(scene_of_two, grips=grips), WORST_CENTS)

    assert solved.value == pytest.approx(2, abs=1e-9)
    errors = [interval.after.cents_from_just for grip in solved.grips() for interval in grip.intervals]
    assert errors == pytest.approx([-2, 2], abs=1e-9)


def test_drop_that_sags_is_met_by_a_lower_upper_string():
    """With only the pedal's grip the fifth is pure as it sounds: the sag of 4 cents is followed."""
    both = two_grips_that_disagree()
    solved = temper(replace(both, grips=both.grips[1:]), CENTS)

    assert solved.offsets_cents[TuningPoint(1)] == pytest.approx(Ratio(3, 2).cents - 700 - 4, abs=1e-6)


def as_seen_by_another_solver(solved):
    """The same scene as a general smooth program with an upper bound on every error, by SLSQP."""
    demands, objective = solved.demands, solved.objective
    pins = {pin.point: pin.cents for pin in demands.scene.pins}
    free = [index for index, point in enumerate(demands.points) if point not in pins]
    held = np.array([pins.get(point, 0.0) for point in demands.points])
    slope = 1.0
    if objective.in_beats:
        slope = demands.worst_slope if objective.of_worst else demands.rms_slope
    weight = demands.worst_weight if objective.of_worst else np.sqrt(demands.squares_weight)
    matrix = demands.coefficients[:, free] * (weight * slope)[:, None]
    goal = (demands.wanted_cents - demands.coefficients @ held) * weight * slope
    bounds = []
    for index in free:
        edges = [
            (limit.from_cents, limit.to_cents)
            for limit in demands.scene.limits
            if limit.point == demands.points[index]
        ]
        bounds.append(edges[0] if edges else (None, None))
    if objective.of_worst:
        size = len(free)
        walls = np.block([[matrix, -np.ones((len(goal), 1))], [-matrix, -np.ones((len(goal), 1))]])
        start = np.append(np.zeros(size), 2 * np.abs(goal).max())
        answer = minimize(
            lambda x: x[-1],
            start,
            jac=lambda x: np.append(np.zeros(size), 1.0),
            bounds=[*bounds, (0, None)],
            constraints=[LinearConstraint(walls, -np.inf, np.concatenate([goal, -goal]))],
            method="SLSQP",
            options={"maxiter": 1000, "ftol": 1e-12},
        )
        return float(answer.fun)
    answer = minimize(
        lambda x: float(np.sum((matrix @ x - goal) ** 2)),
        np.zeros(len(free)),
        jac=lambda x: 2 * matrix.T @ (matrix @ x - goal),
        bounds=bounds,
        method="L-BFGS-B",
        options={"maxiter": 20000, "maxfun": 50000, "ftol": 1e-15, "gtol": 1e-10},
    )
    return float(np.sqrt(answer.fun / demands.squares_weight.sum()))


@pytest.mark.parametrize("name", ["e9-dance-band", "c6-swing-band"])
@pytest.mark.parametrize("objective", Objective)
def test_another_solver_finds_nothing_better(name, objective):
    solved = temper(scene(name), objective)

    assert solved.residual < 1e-8
    assert as_seen_by_another_solver(solved) == pytest.approx(solved.value, rel=1e-6)


@pytest.mark.parametrize("objective", Objective)
def test_the_price_of_a_pin_is_what_a_cent_of_it_gains(objective):
    """The dual value against the solution with the pin really moved."""
    base = scene("c6-swing-band")
    solved = temper(base, objective)

    assert solved.binding
    for bound in solved.binding:
        step = 1e-3 * bound.towards
        if bound.kind == "pin":
            pins = tuple(
                replace(pin, cents=pin.cents + step) if pin.point == bound.point else pin for pin in base.pins
            )
            moved = replace(base, pins=pins)
        else:
            limits = tuple(
                replace(
                    limit, from_cents=limit.from_cents + min(step, 0), to_cents=limit.to_cents + max(step, 0)
                )
                if limit.point == bound.point
                else limit
                for limit in base.limits
            )
            moved = replace(base, limits=limits)
        gain = (solved.value - temper(moved, objective).value) / 1e-3
        assert gain == pytest.approx(bound.price, rel=0.02, abs=1e-6), bound
        if objective.in_beats:
            assert bound.price_beats_per_cent == bound.price


@pytest.mark.parametrize("objective", Objective)
def test_what_nobody_asks_about_stays_at_zero(objective):
    """A string in no grip, and two groups that never meet: named, and given the smallest offsets."""
    rig = Instrument("loose", "", rigs.strings(48, 55, 52, 60, 67))
    grips = (
        rigs.wanted(rig, "low fifth", {1: "1:1", 2: "3:2"}),
        rigs.wanted(rig, "high fifth", {4: "1:1", 5: "3:2"}),
    )
    solved = temper(Scene("loose", rig, grips), objective)

    half = (Ratio(3, 2).cents - 700) / 2
    expected = {1: -half, 2: half, 3: 0.0, 4: -half, 5: half}
    for string, offset in expected.items():
        assert solved.offsets_cents[TuningPoint(string)] == pytest.approx(offset, abs=1e-6)
    named = [[point.string for point in each.points] for each in solved.undetermined()]
    assert named == [[3], [1, 2], [4, 5]]
    assert "Not in the grips you picked" in str(solved.undetermined()[0])
    assert "pin one of them" in str(solved.undetermined()[1])


@pytest.mark.parametrize("objective", Objective)
def test_a_point_in_no_grip_stays_where_it_stood_or_nearest_its_limit(objective):
    rig = Instrument("loose", "", rigs.strings(48, 55, 52, 60))
    grips = (rigs.wanted(rig, "fifth", {1: "1:1", 2: "3:2"}),)
    stood = OwnTemperament("mine", "loose", {TuningPoint(3): -9.5, TuningPoint(4): 9.5})
    asked = Scene("loose", rig, grips, limits=(Limit(TuningPoint(4), -5, 5),), before=stood, pull=0.1)
    solved = temper(asked, objective)

    assert (solved.offsets_cents[TuningPoint(3)], solved.offsets_cents[TuningPoint(4)]) == (-9.5, 5.0)
    assert set(solved.moved_cents) == {TuningPoint(1), TuningPoint(2)}


def test_smallest_offsets_within_a_limit():
    """Left free, a pure fifth lies evenly about equal; a limit on one side moves both, still pure."""
    rig = Instrument("loose", "", rigs.strings(48, 55, 60, 64))
    grips = (
        rigs.wanted(rig, "fifth", {1: "1:1", 2: "3:2"}),
        rigs.wanted(rig, "third", {3: "1:1", 4: "5:4"}),
    )
    solved = temper(Scene("loose", rig, grips, limits=(Limit(TuningPoint(2), -5, 0.5),)), CENTS)

    third = Ratio(5, 4).cents - 400
    assert solved.offsets_cents[TuningPoint(4)] == pytest.approx(third / 2, abs=1e-6)
    assert solved.offsets_cents[TuningPoint(3)] == pytest.approx(-third / 2, abs=1e-6)
    assert solved.offsets_cents[TuningPoint(2)] == pytest.approx(0.5, abs=1e-9)
    assert solved.offsets_cents[TuningPoint(1)] == pytest.approx(0.5 - (Ratio(3, 2).cents - 700), abs=1e-6)
    assert not solved.binding


def test_two_raises_to_one_note_are_a_point_of_their_own():
    """A and C both take string 5 to C#; a grip that engages both asks for that stop, not for A's alone."""
    e9 = instrument("e9-ten-string")
    grips = (
        rigs.wanted(e9, "A alone", {6: "1:1", 5: "5:4"}, ["A", "B"]),
        rigs.wanted(e9, "A and C", {6: "1:1", 5: "5:4"}, ["A", "B", "C"]),
    )
    drop = Drop("sag", {"C": {6: -3.0}})
    pins = (Pin(TuningPoint(6, ("B",)), 0.0),)
    solved = temper(Scene("both", e9, grips, drop, pins=pins, stiff=False), CENTS)

    alone, both = (solved.offsets_cents[TuningPoint(5, names)] for names in (("A",), ("A", "C")))
    assert alone == pytest.approx(Ratio(5, 4).cents - 400, abs=1e-6)
    assert both == pytest.approx(Ratio(5, 4).cents - 400 - 3, abs=1e-6)
    assert solved.temperament("both").offset_cents(e9, TuningPoint(5, ("A", "C"))) == both


def test_a_bass_at_equal_temperament_holds_the_root():
    rig = Instrument("triad", "", rigs.strings(55, 52, 48))
    grips = (rigs.wanted(rig, "C", {3: "1:1", 2: "5:4", 1: "3:2"}, frets=(0.0, 3.0)),)
    solved = temper(Scene("bass", rig, grips, band=(BandPart("bass", plays_root=True),)), BEATS)

    assert solved.offsets_cents[TuningPoint(3)] == pytest.approx(0, abs=1e-9)
    band = [interval for interval in solved.grips()[0].intervals if interval.against == "bass"]
    # C3 over C2, and Eb3 over Eb2: octaves, once at each fret.
    assert [(str(each.ratio), each.fret) for each in band] == [("2:1", 0.0), ("2:1", 3.0)]
    assert [each.after.beats_per_second for each in band] == pytest.approx([0, 0], abs=1e-9)


def test_a_keyboard_that_follows_its_own_temperament():
    """Against keys in five-limit just on C the steel ends where the keys are, at fret 0 and 5 in turn."""
    from tonegen.presets import temperament

    rig = Instrument("triad", "", rigs.strings(55, 52, 48))
    just = temperament("five-limit-just")
    keys = BandPart("keys", False, 1000.0, just, strings=(1, 2, 3))
    for fret in (0.0, 5.0):
        grips = (rigs.wanted(rig, "C", {3: "1:1", 2: "6:5", 1: "3:2"}, frets=(fret,)),)
        rig_minor = replace(rig, strings=rigs.strings(55, 51, 48))
        solved = temper(Scene("keys", rig_minor, grips, band=(keys,)), CENTS)
        for string in rig_minor.strings:
            expected = just.offset_of_key(string.open_key + int(fret))
            assert solved.offsets_cents[TuningPoint(string.number)] == pytest.approx(expected, abs=0.05)


def test_a_part_above_the_string():
    """A flute on the root two octaves up: 4:1 over the string, whose offset it holds at equal temperament."""
    rig = Instrument("pair", "", rigs.strings(55, 48))
    grips = (rigs.wanted(rig, "C", {2: "1:1", 1: "3:2"}),)
    flute = BandPart("flute", plays_root=True, lowest_key=72)
    solved = temper(Scene("flute", rig, grips, band=(flute,), pins=(Pin(TuningPoint(2), 5.0),)), BEATS)

    (found,) = [each for each in solved.grips()[0].intervals if each.against]
    assert (found.low.label, found.high.label, str(found.ratio)) == ("string 2", "flute", "4:1")
    string_hz = 440 * 2 ** ((48 - 69 + 0.05) / 12)
    flute_hz = 440 * 2 ** ((72 - 69) / 12)
    assert found.after.beats_per_second == pytest.approx(flute_hz - 4 * string_hz, rel=1e-9)
    assert found.after.cents_from_just == pytest.approx(-5)


def test_a_part_above_the_string_under_the_bar():
    """The flute plays F, the root at the fifth fret: as far from the string as at the nut."""
    rig = Instrument("pair", "", rigs.strings(55, 48))
    grips = (rigs.wanted(rig, "C", {2: "1:1", 1: "3:2"}, frets=(5.0,)),)
    flute = BandPart("flute", plays_root=True, lowest_key=72)
    solved = temper(Scene("flute", rig, grips, band=(flute,), pins=(Pin(TuningPoint(2), 5.0),)), BEATS)

    (found,) = [each for each in solved.grips()[0].intervals if each.against]
    assert (found.low.label, found.high.label, str(found.ratio)) == ("string 2", "flute", "4:1")
    assert found.after.cents_from_just == pytest.approx(-5)


def test_a_part_counts_once_however_many_frets_the_grip_has():
    """A fifth against keys, weights alike: by hand each string gives way by a third of what is missing."""
    rig = Instrument("pair", "", rigs.strings(55, 48))
    keys = BandPart("keys", False, strings=(1, 2))
    for frets in ((0.0,), (0.0, 5.0, 7.0)):
        grips = (rigs.wanted(rig, "fifth", {2: "1:1", 1: "3:2"}, frets=frets),)
        solved = temper(Scene("keys", rig, grips, band=(keys,)), CENTS)
        third = (Ratio(3, 2).cents - 700) / 3
        assert solved.offsets_cents[TuningPoint(1)] == pytest.approx(third)
        assert solved.offsets_cents[TuningPoint(2)] == pytest.approx(-third)


@pytest.mark.parametrize("objective", [CENTS, WORST_CENTS])
def test_a_price_in_beats_is_by_the_slope_of_the_interval_that_pays(objective):
    """A fifth held 5 cents wide by pins: a cent of either is a cent of it: 3 * C3 * ln 2 / 1200 beats."""
    rig = Instrument("pair", "", rigs.strings(55, 48))
    grips = (rigs.wanted(rig, "fifth", {2: "1:1", 1: "3:2"}),)
    pins = (Pin(TuningPoint(1), 7.0), Pin(TuningPoint(2), 0.0))
    solved = temper(Scene("pair", rig, grips, pins=pins), objective)

    slope = 3 * 440 * 2 ** ((48 - 69) / 12) * np.log(2) / 1200
    assert [(bound.price, bound.price_beats_per_cent) for bound in solved.binding] == [
        (pytest.approx(1), pytest.approx(slope)),
        (pytest.approx(1), pytest.approx(slope)),
    ]


def test_a_band_held_against_a_string_that_no_grip_plays_is_refused():
    rig = Instrument("pair", "", rigs.strings(55, 48, 43))
    grips = (rigs.wanted(rig, "fifth", {2: "1:1", 1: "3:2"}),)
    keys = BandPart("keys", False, strings=(3,))
    with pytest.raises(BadValue, match="scene dance: band keys: string 3 is in none of its grips"):
        temper(Scene("dance", rig, grips, band=(keys,)), CENTS)


def test_a_short_string_under_the_bar_is_refused():
    """A banjo's drone does not go with the others; open, it is tempered like any string."""
    banjo = instrument("banjo-open-g")
    open_grip = rigs.wanted(banjo, "G", {3: "1:1", 2: "5:4", 1: "3:2", 5: "2:1"})
    pins = (Pin(TuningPoint(3), 0.0),)
    solved = temper(Scene("open", banjo, (open_grip,), pins=pins, stiff=False), CENTS)
    assert solved.offsets_cents[TuningPoint(5)] == pytest.approx(0, abs=1e-9)

    barred = replace(open_grip, frets=(0.0, 3.0))
    with pytest.raises(BadValue, match="grip G: string 5 begins at fret 5, and the bar does not raise it"):
        temper(Scene("barred", banjo, (barred,)), CENTS)


def test_what_a_meter_must_read_stands_at_the_reference():
    """A fifth at A4 = 442, its C3 pinned 5 cents sharp, by arithmetic."""
    rig = Instrument("pair", "", rigs.strings(55, 48))
    grips = (rigs.wanted(rig, "fifth", {2: "1:1", 1: "3:2"}),)
    solved = temper(Scene("pair", rig, grips, reference_hz=442, pins=(Pin(TuningPoint(2), 5.0),)), BEATS)

    low_hz = 442 * 2 ** ((48 - 69) / 12 + 5 / 1200)
    assert solved.hz(TuningPoint(2)) == pytest.approx(low_hz)
    assert solved.hz(TuningPoint(1)) == pytest.approx(1.5 * low_hz)
    (fifth,) = solved.grips()[0].intervals
    assert fifth.coincident_hz == pytest.approx(3 * low_hz)


def test_frets_that_matter():
    """An octave up the beats are twice as fast: the worst is there, and squares are averaged over both."""
    rig = Instrument("pair", "", rigs.strings(55, 48))
    grips = (rigs.wanted(rig, "fifth", {2: "1:1", 1: "3:2"}, frets=(0.0, 12.0)),)
    pins = (Pin(TuningPoint(1), 0.0), Pin(TuningPoint(2), 0.0))
    base = Scene("frets", rig, grips, pins=pins)

    per_cent = 3 * 440 * 2 ** ((48 - 69) / 12) * np.log(2) / 1200
    error = Ratio(3, 2).cents - 700
    assert temper(base, WORST_BEATS).value == pytest.approx(2 * per_cent * error)
    assert temper(base, BEATS).value == pytest.approx(np.sqrt((1 + 4) / 2) * per_cent * error)


def test_pull_draws_toward_equal():
    base = e9_problem(True)
    free, pulled = temper(base, CENTS), temper(replace(base, pull=100.0), CENTS)

    assert np.abs(pulled.offsets).max() < 0.1 * np.abs(free.offsets).max()


@pytest.mark.parametrize("stiff", [False, True])
def test_before_and_after_are_exact_beats(stiff):
    """Independent arithmetic: partial 5 of the root against 4 of the third, drop included, at fret 8.

    B of the strings, open: 1.63e-4 of a plain .020 at G#3 and 8.35e-5 of a .017 at B3, by Fletcher's law.
    """
    solved = temper(replace(scene("e9-dance-band"), stiff=stiff), BEATS)
    grip = next(each for each in solved.grips() if each.wanted.grip.name == "A major A+B 3-4-5-6-8-10")
    found = next(
        each
        for each in grip.intervals
        if (each.low.label, each.high.label, each.fret) == ("string 6", "string 5", 8.0)
    )

    offsets = solved.offsets_cents
    root = 440 * 2 ** ((57 + 8 - 69) / 12 + offsets[TuningPoint(6, ("B",))] / 1200 + -1.5 / 1200)
    third = 440 * 2 ** ((61 + 8 - 69) / 12 + offsets[TuningPoint(5, ("A",))] / 1200 + -1.2 / 1200)
    low, high = (b * stiff * 2 ** ((8 - raised) / 6) for b, raised in ((1.63e-4, 1), (8.35e-5, 2)))
    fifth, fourth = 5 * np.sqrt((1 + 25 * low) / (1 + low)), 4 * np.sqrt((1 + 16 * high) / (1 + high))
    assert str(found.ratio) == "5:4"
    within = {"abs": 0.02 if stiff else 1e-9}  # three digits of B
    assert found.after.beats_per_second == pytest.approx(fourth * third - fifth * root, **within)
    assert found.coincident_hz == pytest.approx((fourth * third + fifth * root) / 2, **within)
    equal_root, equal_third = (
        440 * 2 ** ((key + 8 - 69 + drop / 100) / 12) for key, drop in ((57, -1.5), (61, -1.2))
    )
    assert found.before.beats_per_second == pytest.approx(fourth * equal_third - fifth * equal_root, **within)


@pytest.mark.parametrize("objective", Objective)
@pytest.mark.parametrize("name", ["e9-dance-band", "c6-swing-band"])
def test_front_from_pure_to_agreeing(name, objective):
    front = front_of(scene(name), objective)

    assert len(front.points) == 25
    pure = [point.self_error for point in front.points]
    band = [point.band_error for point in front.points]
    assert pure == sorted(pure)
    assert band == sorted(band, reverse=True)
    if not objective.of_worst:
        # Convex: in squares, no point lies above the line between its neighbours.
        x, y = np.square(band), np.square(pure)
        for before, here, after in zip(range(25), range(1, 25), range(2, 25), strict=False):
            part = (x[here] - x[before]) / (x[after] - x[before])
            assert y[here] <= y[before] + part * (y[after] - y[before]) + 1e-9
    assert front.picture().count("o") >= 5


@pytest.mark.parametrize("objective", [Objective.WORST_CENTS, Objective.WORST_BEATS])
@pytest.mark.parametrize("name", ["e9-dance-band", "c6-swing-band"])
def test_no_tuning_is_better_than_the_ends_of_the_front(name, objective):
    """scipy's linear programs, written down anew: the least of one error where the other is no larger."""
    from scipy.optimize import linprog

    front = front_of(scene(name), objective)
    demands = demands_of(front.scene)
    slope = demands.worst_slope if objective.in_beats else 1.0
    scale = demands.worst_weight * slope
    rows, wanted = demands.coefficients * scale[:, None], demands.wanted_cents * scale
    grips, band = (demands.of_kind(kind) for kind in (DemandKind.GRIP, DemandKind.BAND))
    offsets = temper(front.scene, objective).offsets_cents
    still = {pin.point for pin in front.scene.pins} | temper(front.scene, objective).not_asked
    limits = {limit.point: (limit.from_cents, limit.to_cents) for limit in front.scene.limits}
    bounds = [(offsets[p], offsets[p]) if p in still else limits.get(p, (None, None)) for p in demands.points]
    for point in (front.points[0], front.points[12], front.points[-1]):
        for least, other, found, bound in (
            (grips, band, point.self_error, point.band_error),
            (band, grips, point.band_error, point.self_error),
        ):
            both = np.vstack([rows[least], -rows[least], rows[other], -rows[other]])
            worst = np.concatenate([-np.ones(2 * least.sum()), np.zeros(2 * other.sum())])
            sides = [wanted[least], -wanted[least], wanted[other] + bound, bound - wanted[other]]
            solved = linprog(
                np.append(np.zeros(len(demands.points)), 1.0),
                A_ub=np.column_stack([both, worst]), b_ub=np.concatenate(sides) + 1e-9,
                bounds=[*bounds, (0, None)],
            )  # fmt: skip
            assert found == pytest.approx(solved.fun, abs=1e-5)


def test_front_holds_the_scene_itself():
    """At weight 1 the front is the scene's own solution."""
    base = scene("c6-swing-band")
    solved = temper(base, BEATS)
    demands = demands_of(base)
    errors = demands.cents_from_just(solved.offsets) * demands.rms_slope
    chosen = demands.of_kind(DemandKind.BAND)
    band = np.sqrt(np.average(errors[chosen] ** 2, weights=demands.squares_weight[chosen]))
    front = front_of(base, BEATS)

    by_weight = [point.band_weight for point in front.points]
    bands = [point.band_error for point in front.points]
    nearest = (
        [b for w, b in zip(by_weight, bands, strict=True) if w <= 1],
        [b for w, b in zip(by_weight, bands, strict=True) if w >= 1],
    )
    assert min(nearest[0]) >= band - 1e-9 >= max(nearest[1]) - 2e-9


def test_where_there_is_nothing_to_trade():
    """The bass holds C, the fifth rings above it: one tuning serves both, and the front is a point."""
    rig = Instrument("pair", "", rigs.strings(55, 48))
    grips = (rigs.wanted(rig, "C", {2: "1:1", 1: "3:2"}),)
    base = Scene("pair", rig, grips, band=(BandPart("bass", plays_root=True),))
    for objective in Objective:
        (point,) = front_of(base, objective).points
        assert (point.self_error, point.band_error) == pytest.approx((0, 0), abs=1e-6)


def test_without_a_band_there_is_no_front():
    with pytest.raises(BadValue, match="no band to agree with"):
        front_of(e9_problem(False))


def test_pins_that_contradict():
    pins = (Pin(TuningPoint(8), 0.0), Pin(TuningPoint(8), 3.0))
    with pytest.raises(BadValue, match=r"string 8 open is held at \+0 and at \+3 cents"):
        replace(e9_problem(False), pins=pins)


@pytest.mark.parametrize("objective", Objective)
def test_limits_that_leave_no_solution_are_named(objective):
    """A third within 2 cents of just needs its string 11 to 16 cents flat; the limits say 5 at most."""
    rig = Instrument("triad", "", rigs.strings(55, 52, 48, 43))
    grips = (
        rigs.wanted(rig, "C", {3: "1:1", 2: "5:4"}, within_cents=2.0),
        rigs.wanted(rig, "fifth", {3: "1:1", 1: "3:2"}, within_cents=2.0),
        rigs.wanted(rig, "open", {4: "1:1", 3: "4:3"}),
    )
    limits = tuple(Limit(TuningPoint(string), -5, 5) for string in (1, 2, 3, 4))
    with pytest.raises(BadValue) as error:
        temper(Scene("narrow", rig, grips, limits=limits), objective)

    message = str(error.value)
    assert "string 3 to string 2 within 2 cents of 5:4 in C" in message
    assert "string 2 open at least −5 cents" in message
    assert "string 3 open at most +5 cents" in message
    assert message.count(";") == 3  # one to say what to do, two between these three, and no other


def test_a_pin_outside_its_limit_is_named():
    pins = (Pin(TuningPoint(8), 7.0),)
    limits = (Limit(TuningPoint(8), -5, 5), Limit(TuningPoint(6), -20, 0))
    with pytest.raises(BadValue) as error:
        temper(replace(e9_problem(False), pins=pins, limits=limits))

    assert str(error.value).endswith("string 8 open at most +5 cents; string 8 open pinned at +7 cents")


@pytest.mark.parametrize(("stiff", "near", "far"), [(False, 4.0, 9.0), (True, 7.5, 8.0)])
@pytest.mark.parametrize("objective", Objective)
def test_the_price_of_a_grips_limit_is_what_a_cent_of_it_gains(objective, stiff, near, far):
    """All its intervals give way together, at every fret, since the scene gives them one limit."""
    base = replace(scene("e9-dance-band"), stiff=stiff)
    strict = tuple(replace(grip, within_cents=near if grip.state.changes else far) for grip in base.grips[:5])
    base = replace(base, grips=(*strict, *base.grips[5:]))
    solved = temper(base, objective)
    stated = {bound.what: bound.price for bound in solved.binding}

    prices = 0
    for grip in strict:
        looser = replace(grip, within_cents=grip.within_cents + 1e-3)
        moved = replace(base, grips=tuple(looser if each == grip else each for each in base.grips))
        gain = (solved.value - temper(moved, objective).value) / 1e-3
        what = f"every interval of {grip.grip.name} within {grip.within_cents:g} cents"
        assert stated.get(what, 0.0) == pytest.approx(gain, rel=0.02, abs=1e-5)
        prices += what in stated
    assert prices


@pytest.mark.parametrize("objective", Objective)
def test_a_grip_within_its_limit(objective):
    base = e9_problem(True)
    strict = tuple(replace(grip, within_cents=3.0) if grip.grip.name == "A" else grip for grip in base.grips)
    solved = temper(replace(base, grips=strict), objective)

    chord = next(each for each in solved.grips() if each.wanted.grip.name == "A")
    assert max(abs(each.after.cents_from_just) for each in chord.intervals) <= 3 + 1e-6
    assert solved.residual < 1e-8


@pytest.mark.parametrize(
    ("text", "point"),
    [("4", TuningPoint(4)), ("4:F", TuningPoint(4, ("F",))), ("5:C+A", TuningPoint(5, ("A", "C")))],
)
def test_points_as_typed(text, point):
    assert parse_pin(f"{text}=2", instrument("e9-ten-string"), SAGGING) == Pin(point, 2.0)


SAGGING = Drop("sagging", {"A": {8: -2.0}, "B": {8: -1.0, 5: -0.5}}, {frozenset("AB"): {8: -2.5}})


@pytest.mark.parametrize(
    ("text", "cents"),
    [("8:A+B=0", 2.5), ("8:A=1", 3.0), ("8:A:0.5=0", 1.0), ("5:A+B=-14", -13.5), ("8:B+F=4", 5.0)],
)
@pytest.mark.parametrize("objective", Objective)
def test_a_pin_in_any_state_holds_what_sounds_there(text, cents, objective):
    """By hand: what is wanted less the drop of what does not move the string; A+B was measured together."""
    e9 = instrument("e9-ten-string")
    base = replace(scene("e9-dance-band"), drop=SAGGING, limits=(), pins=())
    pin = parse_pin(text, e9, SAGGING)
    assert pin.cents == pytest.approx(cents, abs=1e-12)
    solved = temper(replace(base, pins=(pin,)), objective)
    string, state = parse_place(text.partition("=")[0], e9)
    read = reading(e9, solved.temperament("held"), SAGGING, 440.0, string, state)
    assert read.cents == pytest.approx(float(text.partition("=")[2]), abs=1e-9)
    assert solved.residual < 1e-7


def test_pins_of_two_states_that_hang_on_one_point_contradict():
    e9 = instrument("e9-ten-string")
    pins = tuple(parse_pin(text, e9, SAGGING) for text in ("8:A+B=0", "8=1"))
    with pytest.raises(
        BadValue, match=r"string 8 open is held at \+1 and at \+2.50 \(string 8 with A\+B at \+0\) cents"
    ):
        replace(e9_problem(False), pins=pins)
    same = tuple(parse_pin(text, e9, SAGGING) for text in ("8:A+B=0", "8:A=0.5", "8=2.5"))
    assert temper(replace(e9_problem(False), pins=same)).offsets_cents[TuningPoint(8)] == 2.5


def test_a_pin_between_stops_is_refused():
    with pytest.raises(BadValue, match=r"string 5 is between its stops in A at 0\.5"):
        parse_pin("5:A:0.5=0", instrument("e9-ten-string"))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("4", "is not a pin"),
        ("4=high", "is not a pin"),
        ("4=nan", "is not a pin"),
        ("11=0", "no string 11"),
        ("4:Q=0", 'no change "Q"'),
        ("x=0", "is not a string in a state"),
        ("4:F+E=0", "exclude each other"),
    ],
)
def test_pins_that_cannot_be_meant(text, says):
    with pytest.raises(BadValue, match=says):
        parse_pin(text, instrument("e9-ten-string"))


@pytest.mark.long
@given(st.integers(0, 2**32 - 1), st.sampled_from(Objective))
@settings(max_examples=120, deadline=None, derandomize=True, database=None)
def test_any_scene_is_solved_and_proved_or_its_conflict_named(seed, objective):
    base = rigs.any_scene(seed)
    try:
        solved = temper(base, objective)
    except BadValue as refusal:
        assert "give one of them up" in str(refusal) or "pins contradict" in str(refusal)  # noqa: PT017
        return
    assert solved.residual <= 1e-7 * max(1.0, solved.value)
    offsets = solved.offsets_cents
    assert all(offsets[pin.point] == pin.cents for pin in base.pins)
    for limit in base.limits:
        assert limit.from_cents - 1e-6 <= offsets[limit.point] <= limit.to_cents + 1e-6
    for grip in solved.grips():
        for interval in grip.intervals:
            if grip.wanted.within_cents is not None and not interval.against:
                assert abs(interval.after.cents_from_just) <= grip.wanted.within_cents + 1e-6


def test_the_linear_program_is_given_every_row_that_counts():
    """Thirty rows want 10 and thirty want -10: those that it is not given at first must not be forgotten."""
    rows = np.ones((60, 1))
    wanted = np.repeat([10.0, -10.0], 30)
    optimum = least_worst(rows, wanted, np.zeros((0, 1)), np.zeros(0))

    assert optimum.x == pytest.approx([0], abs=1e-9)
    assert optimum.value == pytest.approx(10)


def test_of_limits_that_conflict_none_can_be_spared():
    """At least 1, at least 2, at most 0, at most -1: any one of the first with any one of the last."""
    rows, limits = np.array([[1.0], [1.0], [-1.0], [-1.0]]), np.array([1.0, 2.0, 0.0, 1.0])
    few = conflicting(rows, limits)

    assert len(few) == 2
    assert (rows[few].sum(), limits[few].sum() > 0) == (0, True)
    assert not len(conflicting(rows[:2], limits[:2]))


def test_many_grips_are_solved_as_a_whole():
    """The linear program is given only the rows that can be the worst; it must not miss any."""
    demands = demands_of(rigs.large_scene(120))
    solved = temper_demands(demands, WORST_CENTS)

    errors = np.abs(demands.cents_from_just(solved.offsets) * demands.worst_weight)
    assert errors.max() == pytest.approx(solved.value, rel=1e-9)
    assert solved.residual < 1e-7
