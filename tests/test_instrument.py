"""Strings by changes: charts of the trade, states, half-stops, splits and the cabinet's drop."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tables import published, rows
from tonegen import presets
from tonegen.copedent import copedent
from tonegen.drop import NO_DROP
from tonegen.errors import BadValue
from tonegen.instrument import DEGREES, Change, Instrument, Split, String, TuningPoint
from tonegen.interval import partial_hz
from tonegen.pitch import hz_from_key, parse_note, parse_pitch_class
from tonegen.temperament import EQUAL, OwnTemperament, string_cents
from tonegen.wire import (
    METRES_PER_INCH,
    Wire,
    fraction_of_strength,
    least_strength_pa,
    plain_kg_per_metre,
    stiffness,
    stiffness_elsewhere,
    tension_newtons,
    wound_kg_per_metre,
)

E9 = presets.instrument("e9-ten-string")
C6 = presets.instrument("c6-ten-string")

PRESET_OF = {
    "E9 10-string": "e9-ten-string",
    "C6 10-string": "c6-ten-string",
    "C6 8-string lap steel": "c6-lap-steel",
    "resonator open G (high bass)": "resonator-open-g",
    "bass guitar EADG": "bass-four-string",
    "guitar EADGBE": "guitar-six-string",
}


@pytest.mark.parametrize(
    "row",
    published(
        "s6_tunings",
        label=lambda r: f"{r.instrument} string {r.string}",
        keep=lambda r: r.instrument in PRESET_OF,
    ),
)
def test_open_strings_and_changes_of_the_trade(row):
    """An encyclopedia's charts (common practice, no source): open note, gauge, and each string's changes."""
    instrument = presets.instrument(PRESET_OF[row.instrument])
    string = instrument.string(int(row.string))

    assert string.open_key == int(row.midi)
    assert float(hz_from_key(string.open_key)) == pytest.approx(float(row.hz_A440), rel=0, abs=1e-6)
    if row.gauge_in:
        assert string.wire.gauge_inches == float(row.gauge_in.rstrip("wp"))
        assert string.wire.wound == row.gauge_in.endswith("w")
    for change, move in (part.split(":") for part in row.changes.split("; ") if part):
        state = instrument.state({"DD": 0.5} if change == "D" else [change])  # D: the same lever, half-way
        assert instrument.raised_semitones(instrument.point(string.number, state)) == int(move)


def state_of(instrument: Instrument, text: str):
    return instrument.state([] if text == "open" else text.split("+"))


def keys_of(row) -> dict[int, int]:
    return {int(string): int(key) for string, key in (part.split(":") for part in row.midi.split())}


CHORDS = [
    pytest.param(instrument, row, id=f"{instrument.name} {row.state} fret {row.fret} {row.strings}")
    for instrument, table in ((E9, "s6_e9_chords"), (C6, "s6_c6_chords"))
    for row in rows(table)
    if "RKRx" not in row.state  # a lever of another player's copedent
]


@pytest.mark.parametrize(("instrument", "row"), CHORDS)
def test_chords_of_the_trade(instrument, row):
    """Which notes each state gives, checked by three chord libraries when the table was made."""
    state = state_of(instrument, row.state)
    played = {
        string: instrument.key(instrument.point(string, state)) + int(row.fret) for string in keys_of(row)
    }

    assert played == keys_of(row)


@pytest.mark.parametrize("grip", [*E9.grips, *C6.grips], ids=lambda grip: grip.name)
def test_every_role_of_a_saved_grip_is_derived_again_from_its_notes(grip):
    instrument = E9 if grip in E9.grips else C6
    state = instrument.state(grip.changes)
    root = parse_pitch_class(grip.root)
    for string, role, ratio in zip(grip.strings, grip.roles, grip.ratios, strict=True):
        above_root = (instrument.key(instrument.point(string, state)) - root) % 12
        assert above_root == SEMITONES_OF_DEGREE[role]
        assert ratio == DEGREES[role]


# Common practice, no source.
SEMITONES_OF_DEGREE = {
    "1": 0, "2": 2, "9": 2, "b3": 3, "3": 4, "4": 5, "b5": 6, "5": 7, "#5": 8, "6": 9, "bb7": 9, "b7": 10,
    "7": 11,
}  # fmt: skip


def test_the_e9_has_its_grips_in_each_of_the_usual_states():
    assert len(E9.grips) >= 20
    assert {(), ("A",), ("A", "B"), ("B", "C"), ("A", "F"), ("E",), ("F",)} <= {g.changes for g in E9.grips}


def test_tuning_points_of_an_e9():
    """Ten open strings, a stop for each string of each change, a half-stop, and the split of A and V."""
    points = E9.tuning_points()
    stops = sum(len(change.semitones) for change in E9.changes)

    assert len(points) == len(set(points)) == 10 + stops + 1 + 2
    assert TuningPoint(5, ("A", "V")) in points


def test_a_split_reaches_its_own_note():
    """A raises B to C#, V lowers it to A#; together they are tuned to C."""
    point = E9.point(5, E9.state(["A", "V"]))

    assert point == TuningPoint(5, ("A", "V"))
    assert E9.key(point) == parse_note("C4")


def test_a_raise_and_a_lower_without_a_split_add():
    """C raises string 4 by a tone, E lowers it by a semitone."""
    assert E9.key(E9.point(4, E9.state(["C", "E"]))) == parse_note("F4")


def test_two_changes_to_the_same_note_are_a_point_of_their_own():
    assert E9.point(5, E9.state(["A", "C"])) == TuningPoint(5, ("A", "C"))
    assert E9.key(TuningPoint(5, ("A", "C"))) == parse_note("C#4")


def test_of_two_raises_the_higher_wins():
    assert E9.point(4, E9.state(["C", "F"])) == TuningPoint(4, ("C",))


@pytest.mark.parametrize(
    ("changes", "why"), [(["E", "F"], "exclude"), (["G", "DD"], "exclude"), (["Z"], "no change")]
)
def test_states_that_cannot_be(changes, why):
    with pytest.raises(BadValue, match=why):
        E9.state(changes)


def test_the_bar_brings_the_instrument_to_the_key_of_a_song():
    """The barre that makes an open chord another's: common practice, no source."""
    assert [E9.fret_of_key(parse_pitch_class(key)) for key in ("E", "G", "D", "Eb")] == [0, 3, 10, 11]
    assert C6.fret_of_key(parse_pitch_class("G")) == 7


def test_what_is_not_there_is_named():
    with pytest.raises(BadValue, match="no string 11; it has strings 1 to 10"):
        E9.string(11)
    with pytest.raises(BadValue, match='did you mean "A"'):
        E9.change("a")
    with pytest.raises(BadValue, match="off the neck"):
        E9.checked_fret(24.5)
    with pytest.raises(BadValue, match="travel"):
        E9.state({"A": 1.2})
    with pytest.raises(BadValue, match="names a string twice"):
        E9.grip_of((3, 3), E9.state())
    with pytest.raises(BadValue, match="no grip"):
        E9.grip("E major 3-4-6")
    with pytest.raises(BadValue, match="no pedals or levers"):
        presets.instrument("banjo-open-g").state(["A"])
    with pytest.raises(BadValue, match="does not move string 1"):
        E9.key(TuningPoint(1, ("A",)))


def test_a_half_stop_is_linear_between_its_ends():
    """Halfway down pedal A a string that goes up a tone has gone up a semitone."""
    assert string_cents(E9, EQUAL, 5, E9.state({"A": 0.5})) == pytest.approx(100)


def test_a_measured_half_stop_wins_over_the_straight_line():
    """The long lever: string 2 is at D, and string 9 has not moved yet, at half its travel."""
    assert string_cents(E9, EQUAL, 2, E9.state({"DD": 0.5})) == pytest.approx(-100)
    assert string_cents(E9, EQUAL, 9, E9.state({"DD": 0.5})) == pytest.approx(0)
    assert string_cents(E9, EQUAL, 9, E9.state({"DD": 0.75})) == pytest.approx(-50)


def test_a_half_stop_moves_between_tempered_ends():
    own = OwnTemperament("mine", E9.name, {TuningPoint(5): -2.0, TuningPoint(5, ("A",)): -10.0})

    assert string_cents(E9, own, 5, E9.state({"A": 0.25})) == pytest.approx(-2 + 0.25 * (200 - 8))


@given(st.floats(0, 1), st.floats(0, 1))
def test_pitch_moves_without_a_jump_to_a_split(a, v):
    """As both travels come to their stops the split is reached, and nothing leaps on the way."""
    own = OwnTemperament("mine", E9.name, {TuningPoint(5, ("A", "V")): 13.0})
    near = string_cents(E9, own, 5, E9.state({"A": a, "V": v}))
    further = string_cents(E9, own, 5, E9.state({"A": min(a + 1e-6, 1), "V": v}))

    assert abs(further - near) < 1e-3
    assert string_cents(E9, own, 5, E9.state(["A", "V"])) == pytest.approx(113)


def test_a_split_comes_in_with_the_change_that_has_moved_least():
    """A whole, V half: half of what the split adds to the sum of both; its stop is tuned 13 cents high."""
    own = OwnTemperament("mine", E9.name, {TuningPoint(5, ("A", "V")): 13.0})

    assert string_cents(E9, own, 5, E9.state({"A": 1.0, "V": 0.5})) == pytest.approx(200 - 50 + 13 / 2)


def test_an_explicit_split_overrides_the_sum():
    rig = Instrument(
        "rig", "rig", (String(1, 60),), (Change("A", {1: 2}), Change("V", {1: -1})),
        splits=(Split(frozenset("AV"), {1: 0}),),
    )  # fmt: skip
    assert rig.raised_semitones(rig.point(1, rig.state("AV"))) == 0


@pytest.mark.parametrize(
    "row", published("s4_e9_tension", label=lambda r: f"string {r.string} {r.note} at {r.scale_in} in")
)
def test_tension_stress_and_stiffness_of_plain_strings(row):
    """Computed from the definitions named in the table, for steel of 7850 kg/m3 and 200 GPa."""
    diameter, length = float(row.gauge_in) * METRES_PER_INCH, float(row.scale_in) * METRES_PER_INCH
    mass = plain_kg_per_metre(diameter)
    newtons = tension_newtons(mass, length, float(row.f_hz))
    b = stiffness(diameter, length, newtons)

    assert float(newtons) == pytest.approx(float(row.T_N), rel=1e-6)
    assert float(b) == pytest.approx(float(row.B), rel=1e-6)
    second = partial_hz(1.0, 2, b)
    assert float(second) == pytest.approx(
        2 * 2 ** (float(row.second_partial_sharp_cents_vs_2f1) / 1200), rel=1e-9
    )
    ours = float(fraction_of_strength(float(row.f_hz), length, diameter, mass))
    in_the_table = float(row.fraction_of_min_strength)  # the strength on a straight line between two rows
    assert in_the_table * (1 - 5e-6) <= ours <= in_the_table * 1.02


@pytest.mark.parametrize("row", published("s4_unit_weights", label=lambda r: f".{r.gauge_in}"))
def test_mass_of_plain_wire(row):
    mass = float(plain_kg_per_metre(float(row.gauge_in) * METRES_PER_INCH))
    assert mass == pytest.approx(float(row.mu_kg_per_m), rel=1e-6)


@pytest.mark.parametrize("row", published("s4_astm_a228", label=lambda r: f"d {r.d_in} in"))
def test_strength_of_music_wire(row):
    """ASTM A228 table as reprinted by Inter-Wire Group."""
    ours = float(least_strength_pa(float(row.d_in) * METRES_PER_INCH)) / 1e6
    assert ours == pytest.approx(float(row.min_MPa), rel=1e-5)


def test_strength_elsewhere_is_never_above_what_the_standard_promises():
    """Between two rows on or below both; beyond the table below a straight line through its last rows."""
    table = rows("s4_astm_a228")
    for thin, thick in pairwise(table):
        between = np.linspace(float(thin.d_in), float(thick.d_in), 9)[1:] * METRES_PER_INCH
        assert (least_strength_pa(between) <= float(thick.min_MPa) * 1e6 * (1 + 1e-5)).all()
    assert float(least_strength_pa(0.004 * METRES_PER_INCH)) <= float(table[0].min_MPa) * 1e6 * (1 + 1e-5)
    before, last = table[-2:]
    steepness = np.log(float(last.min_MPa) / float(before.min_MPa)) / np.log(0.090 / 0.080)
    for inches in (0.0901, 0.1, 0.15):
        straight_on = float(last.min_MPa) * (inches / 0.090) ** steepness
        assert 0.9 * straight_on < float(least_strength_pa(inches * METRES_PER_INCH)) / 1e6 < straight_on


@pytest.mark.parametrize(
    ("example", "kg_per_metre", "length_m", "hz"),
    [
        ("ST-2", 1.25e-4 / 0.33, 0.33, 640.0),
        ("ST-4", 5.78e-3, 0.65, 427.23 / (2 * 0.65)),
        ("ST-5", 0.006, 0.65, 110.0),
        ("ST-6", 3.6e-3 / 0.90, 0.90, 200.308404),
        ("ST-7b", 0.00684592905, 25.5 * METRES_PER_INCH, 196.0),
    ],
)
def test_tension_of_a_worked_example(example, kg_per_metre, length_m, hz):
    """Worked examples of textbooks and tension tables; the frequency that ST-6 asks for gives its 520 N."""
    row = next(row for row in rows("s4_string_examples") if row.id == example)
    newtons = 520.0 if example == "ST-6" else float(row.recomputed)
    assert float(tension_newtons(kg_per_metre, length_m, hz)) == pytest.approx(newtons, rel=2e-5)


def test_tension_of_plain_wire_in_a_technicians_units():
    """ST-1: .020 in, 16 in, 440 Hz: 45.6 lbf with steel of 0.283 lb/in3, which is 0.3 % lighter than ours."""
    mass = plain_kg_per_metre(0.020 * METRES_PER_INCH)
    newtons = float(tension_newtons(mass, 16 * METRES_PER_INCH, 440.0))
    assert newtons / 4.4482216 == pytest.approx(45.6, rel=0.004)


def test_stiffness_by_youngs_formula():
    """INH-1: a partial n is sharp by 3.4e13 n^2 d^2 / (f^2 l^4) cents, in cm; 600 / ln 2 * B n^2 of ours."""
    diameter_cm, length_cm, hz = 0.1, 62.0, 261.63
    length = length_cm / 100
    mass = plain_kg_per_metre(diameter_cm / 100)
    b = float(stiffness(diameter_cm / 100, length, tension_newtons(mass, length, hz)))
    assert 600 / np.log(2) * b == pytest.approx(3.4e13 * diameter_cm**2 / (hz**2 * length_cm**4), rel=0.003)


def test_stiffness_by_a_technicians_formula():
    """INH-3: d^4 / (81 l^2 T) cents, in mil, in and lbf; the source's steel is 1.5 % stiffer than ours."""
    mil, inches, pounds = 38.0, 20.0, 160.0
    b = float(stiffness(mil / 1000 * METRES_PER_INCH, inches * METRES_PER_INCH, pounds * 4.4482216))
    assert 600 / np.log(2) * b == pytest.approx(mil**4 / (81 * inches**2 * pounds), rel=0.02)


def test_a_wrap_weighs_like_the_wire_that_it_is():
    """Count one turn: wire of section pi w^2/4, wound at radius (core + w)/2, one turn each w of length."""
    core, diameter = 0.4e-3, 1.0e-3
    wrap = (diameter - core) / 2
    turn_length = 3.141592653589793 * (core + wrap)
    turn_kg = 7850 * 3.141592653589793 * wrap**2 / 4 * turn_length
    expected = float(plain_kg_per_metre(core)) + turn_kg / wrap

    assert float(wound_kg_per_metre(diameter, core)) == pytest.approx(expected, rel=1e-12)
    assert float(wound_kg_per_metre(diameter, core)) < float(plain_kg_per_metre(diameter))


def test_the_bar_stiffens_a_string_and_a_raise_loosens_it():
    """Derived again from B = pi^3 E d^4 / (64 T L^2) with the shorter length and the greater tension."""
    diameter, length, hz = 0.3e-3, 0.6, 330.0
    mass = plain_kg_per_metre(diameter)
    open_b = stiffness(diameter, length, tension_newtons(mass, length, hz))
    raised_newtons = tension_newtons(mass, length, hz * 2 ** (2 / 12))
    elsewhere = stiffness(diameter, length * 2 ** (-5 / 12), raised_newtons)

    assert float(stiffness_elsewhere(open_b, 2, 5)) == pytest.approx(float(elsewhere), rel=1e-12)


def test_an_e9_third_string_is_the_one_near_its_strength():
    """Common practice, no source: string 3 is the one that breaks, at A with the B pedal down."""
    at_a = E9.string(3).wire.fraction_of_strength(440)
    assert 0.8 < at_a < 0.95
    others = [
        E9.string(n).wire.fraction_of_strength(float(hz_from_key(E9.string(n).open_key)))
        for n in range(4, 11)
    ]
    assert max(others) < at_a


def test_a_wound_core_can_be_given():
    thick = Wire(0.036, 24.25, wound=True, core_inches=0.018)
    usual = Wire(0.036, 24.25, wound=True)
    assert thick.stiffness(110) > usual.stiffness(110)


def test_a_bar_below_a_short_strings_nut_leaves_it_open():
    """A banjo's drone begins at the fifth fret (common practice, no source)."""
    drone = String(5, 67, begins_at_fret=5)

    assert [drone.bar_semitones(fret) for fret in (0.0, 3.0, 5.0, 7.0)] == [0.0, 0.0, 0.0, 2.0]


@pytest.mark.parametrize(("semitones", "strained"), [(0.5, False), (1.5, True)])
def test_a_string_is_strained_more_than_a_semitone_above_its_highest_note(semitones, strained):
    """Its wire is not known: then only how far it is above what the chart gives it at A4 = 440 Hz counts."""
    rig = Instrument("one string", "", (String(1, 64),))
    chart = copedent(rig, EQUAL, NO_DROP, 440 * 2 ** (semitones / 12))

    assert bool(chart.strained()) is strained


@pytest.mark.parametrize(
    ("name", "held", "not_held"),
    [
        (
            "e9-ten-string",
            ["A B", "B C", "A F", "A B F", "B E DD", "B C V G", "A V"],
            ["A C", "A B C", "F V", "E V", "DD G"],
        ),
        ("c6-ten-string", ["P5 P6", "P7 P8 LKR", "P4 RKL LKL"], ["P4 P6", "P5 P6 P7", "LKL LKR", "RKL RKR"]),
        ("universal-twelve-string", ["E P5 P6", "E V P8", "C P5"], ["B P6", "F V", "D G"]),
    ],
)
def test_what_a_foot_and_two_knees_hold_together(name, held, not_held):
    """Two pedals side by side, one lever a knee; a lock needs no knee. Common practice, no source."""
    body = presets.instrument(name).body

    assert [each for each in held if not body.holds(each.split())] == []
    assert [each for each in not_held if body.holds(each.split())] == []
    assert body.holds([])


def test_every_lever_and_pedal_of_the_presets_has_its_place_in_the_body():
    for name in ("e9-ten-string", "c6-ten-string", "universal-twelve-string"):
        rig = presets.instrument(name)
        placed = {*rig.body.foot}.union(*rig.body.knees)
        assert {change.name for change in rig.changes} - placed <= {"E"}
        feet = [change.name for change in rig.changes if change.place.startswith("pedal")]
        assert list(rig.body.foot) == feet
        for knee, side in zip(rig.body.knees, ("left knee", "right knee"), strict=True):
            assert all(rig.change(lever).place.startswith(side) for lever in knee)


def test_of_an_instrument_without_a_body_nothing_is_known():
    assert presets.instrument("banjo-open-g").body.holds(["anything", "at", "all"])
