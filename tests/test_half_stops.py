"""Half-stops that stand for a note: tuned by themselves, shown, read, pinned, tempered and ordered."""

import re
from dataclasses import replace
from math import log2

import numpy as np
import pytest

from tests import rigs
from tonegen import presets
from tonegen.copedent import copedent
from tonegen.drop import NO_DROP, Drop
from tonegen.errors import BadPreset, BadValue
from tonegen.instrument import Change, HalfStop, Instrument, TuningPoint
from tonegen.keys.scale import Elsewhere
from tonegen.order.edges import StringsToTune
from tonegen.order.plan import tuning_order
from tonegen.pitch import parse_note
from tonegen.presets.own import save_temperament
from tonegen.presets.scenes import scene
from tonegen.reads import reading, readings_by_point, states_played
from tonegen.sounding import tones_of_grip
from tonegen.temperament import EQUAL, OwnTemperament, on_root, string_cents
from tonegen.tempering.fill import same_note_elsewhere
from tonegen.tempering.scene import Scene, WantedGrip, parse_pin
from tonegen.tempering.temper import Objective, temper
from tonegen.wants import Want, parse_want, tuned_for

E9 = presets.instrument("e9-ten-string")
HALF = TuningPoint(2, ("DD",), 0.5)
WHOLE = TuningPoint(2, ("DD",))
OPEN = TuningPoint(2)
SAGGING = Drop("sagging", {"A": {2: -2.0}, "DD": {2: -6.0, 8: -1.0}})


def lever(*halves: HalfStop, semitones: int = -4, more: tuple[Change, ...] = ()) -> Instrument:
    """One string with a lever that stops on its way."""
    return Instrument(
        "rig", "", rigs.strings(64), (Change("L", {1: semitones}, half_stops={1: halves}), *more)
    )


# ---------------------------------------------------------------------- what a half-stop is


def test_the_classic_lever_of_string_2_stops_at_d_on_its_way_to_c_sharp():
    """D# at rest, D half-way, C# at its stop: common practice, no source."""
    assert [E9.note(point) for point in (OPEN, HALF, WHOLE)] == ["D#4", "D4", "C#4"]
    assert E9.key(HALF) == parse_note("D4") == 62
    points = E9.tuning_points()
    assert points.index(OPEN) + 2 == points.index(HALF) + 1 == points.index(WHOLE)
    assert sorted([WHOLE, HALF, OPEN]) == [OPEN, HALF, WHOLE]
    assert [str(point) for point in (HALF, WHOLE)] == ["string 2 with DD at 0.5", "string 2 with DD"]
    assert not HALF.is_same_stop(WHOLE)


def test_a_state_at_just_that_travel_selects_it():
    at = {travel: E9.state({"DD": travel}) for travel in (0.49, 0.5, 1.0)}
    assert [E9.stands_at_a_stop(2, state) for state in at.values()] == [False, True, True]
    assert (E9.point(2, at[0.5]), E9.point(2, at[1.0])) == (HALF, WHOLE)
    # String 9 was only measured there: it is on its way.
    assert not E9.stands_at_a_stop(9, at[0.5])
    assert TuningPoint(9, ("DD",), 0.5) not in E9.tuning_points()


def test_rules_by_notes_give_it_an_offset():
    """D above E is 9:5 in the five-limit scale, 1017.6 cents."""
    just = on_root(presets.temperament("five-limit-just"), None, E9.root)
    expected = 1200 * log2(9 / 5) - 1000
    assert just.offset_cents(E9, HALF) == pytest.approx(expected)
    assert string_cents(E9, just, 2, E9.state({"DD": 0.5})) == pytest.approx(expected - 100)


def test_the_players_own_file_names_it_or_it_stands_where_it_was_measured():
    rig = lever(HalfStop(0.25, -95.0, -1))
    half = TuningPoint(1, ("L",), 0.25)
    own = OwnTemperament("mine", "rig", {TuningPoint(1): -3.0, TuningPoint(1, ("L",)): 8.0})
    assert own.offset_cents(rig, half) == -3 - 95 + 100
    assert string_cents(rig, own, 1, rig.state({"L": 0.25})) == -98
    named = replace(own, offsets_cents={**own.offsets_cents, half: 11.0})
    assert string_cents(rig, named, 1, rig.state({"L": 0.25})) == pytest.approx(-89)
    assert string_cents(rig, named, 1, rig.state(["L"])) == pytest.approx(-392)  # its stop does not move


def test_pitch_goes_in_straight_lines_through_every_target():
    """Against numpy's interpolation over the targets, on 300 random instruments, to 1e-9 cents."""
    random = np.random.default_rng(9)
    stood = 0
    for _ in range(300):
        semitones = int(random.choice([-5, -4, -3, -2, 2, 3, 4, 5]))
        towards = 1 if semitones > 0 else -1
        count = int(random.integers(1, abs(semitones)))
        travels = np.sort(random.choice(np.arange(1, 20), count, replace=False)) / 20
        raised = np.sort(random.choice(np.arange(1, abs(semitones)), count, replace=False)) * towards
        tuned = random.random(count) < 0.6
        measured = 100 * raised + random.uniform(-40, 40, count)
        offsets = random.uniform(-50, 50, count + 2)
        halves = [
            HalfStop(float(travel), float(cents), int(move) if is_tuned else None)
            for travel, cents, move, is_tuned in zip(travels, measured, raised, tuned, strict=True)
        ]
        rig = lever(*halves, semitones=semitones)
        own = {TuningPoint(1): float(offsets[0]), TuningPoint(1, ("L",)): float(offsets[-1])}
        for half, offset in zip(halves, offsets[1:-1], strict=True):
            if half.semitones is not None:
                own[TuningPoint(1, ("L",), half.travel)] = float(offset)
        assert {*own} == {*rig.tuning_points()}
        heights = np.where(tuned, 100 * raised + offsets[1:-1], offsets[0] + measured)
        expected = [offsets[0], *heights, 100 * semitones + offsets[-1]]
        mine = OwnTemperament("random", "rig", own)
        for travel in [*travels, 1.0, *random.uniform(0, 1, 5)]:
            state = rig.state({"L": float(travel)})
            by_hand = np.interp(travel, [0.0, *travels, 1.0], expected)
            assert abs(string_cents(rig, mine, 1, state) - by_hand) < 1e-9
            point = rig.point(1, state)
            if rig.stands_at_a_stop(1, state):
                assert abs(100 * rig.raised_semitones(point) + own[point] - by_hand) < 1e-9
                stood += point.travel < 1
    assert stood > 150


def test_a_half_stop_adds_to_what_pulls_the_other_way_and_has_no_point_with_it():
    rig = lever(HalfStop(0.5, -200.0, -2), more=(Change("R", {1: 1}),))
    own = OwnTemperament("mine", "rig", {
        TuningPoint(1, ("L",), 0.5): -7.0, TuningPoint(1, ("R",)): 4.0, TuningPoint(1, ("L", "R")): 10.0,
    })  # fmt: skip
    together = rig.state({"L": 0.5, "R": 1.0})
    assert not rig.stands_at_a_stop(1, together)
    # By hand: both moves, and half of what the joint stop adds to the sum of its parts, 10 - 4.
    assert string_cents(rig, own, 1, together) == pytest.approx(-207 + 104 + 0.5 * (10 - 4))


def test_of_two_lowers_the_furthest_wins_at_a_half_stop_as_at_a_stop():
    rig = lever(HalfStop(0.5, -200.0, -2), more=(Change("S", {1: -1}), Change("T", {1: -3})))
    own = OwnTemperament("mine", "rig", {TuningPoint(1, ("L",), 0.5): -7.0, TuningPoint(1, ("T",)): 5.0})
    for other, point, cents in (
        ("S", TuningPoint(1, ("L",), 0.5), -207),
        ("T", TuningPoint(1, ("T",)), -295),
    ):
        state = rig.state({"L": 0.5, other: 1.0})
        assert rig.point(1, state) == point
        assert rig.stands_at_a_stop(1, state)
        assert string_cents(rig, own, 1, state) == cents
    same = rig.state({"L": 0.5})
    twice = replace(rig, changes=(*rig.changes, Change("U", {1: -2})))
    assert rig.stands_at_a_stop(1, same)
    assert not twice.stands_at_a_stop(1, twice.state({"L": 0.5, "U": 1.0}))  # one note by two changes


def test_keyboards_find_the_note_that_only_a_half_stop_plays():
    voices = Elsewhere(E9).voices(OwnTemperament("mine", E9.name, {HALF: -9.0}), NO_DROP, 0.0, 440.0)
    assert -9.0 in [round(voice.offset_cents, 9) for voice in voices if voice.key == 62]


# ---------------------------------------------------------------------- chart, readings and wants


def test_the_chart_has_a_column_for_it_before_the_stop():
    chart = copedent(E9, OwnTemperament("mine", E9.name, {HALF: -9.0}), NO_DROP, 440.0)
    columns = [state.typed for state in chart.columns]
    assert columns.index("DD:0.5") + 1 == columns.index("DD")
    cell = chart.tuned_in(2, E9.state({"DD": 0.5}))
    assert (cell.note, cell.offset_cents) == ("D4", -9.0)
    assert cell.hz == pytest.approx(440 * 2 ** (-7 / 12 - 9 / 1200))
    assert chart.tuned_in(9, E9.state({"DD": 0.5})) is None


def test_the_chart_command_and_its_json(tonegen):
    heading = "tonegen chart --instrument e9-ten-string --temperament five-limit-just"
    points = tonegen(f"{heading} --json").json["points"]
    (half,) = [point for point in points if point["travel"] != 1]
    assert (half["string"], half["changes"], half["travel"], half["note"]) == (2, ["DD"], 0.5, "D4")
    assert "String 2 with DD at 0.5: −1.3 with A+DD at 0.5" in readings_in_words()
    assert "DD:0.5" in tonegen(heading).out


def readings_in_words() -> list[str]:
    states = [E9.state({"A": 1.0, "DD": 0.5})]
    found = readings_by_point(E9, OwnTemperament("mine", E9.name, {HALF: 0.7}), SAGGING, 440.0, states)
    return [f"S{str(point)[1:]}: {', '.join(map(str, read))}" for point, read in found.items()]


def test_beats_name_the_string_with_how_far_its_lever_is(tonegen):
    """D4 half-way and C#4 at the stop are both of DD: the table and JSON tell them apart."""
    line = "tonegen beats --instrument e9-ten-string --grip 2,5 --changes A,DD:0.5"
    shown = next(row for row in tonegen(line).out.splitlines() if row.startswith("D4"))
    assert shown.split()[:3] == ["D4", "2", "DD:0.5"]
    tones = {tone["string"]: tone for tone in tonegen(f"{line} --json").json["tones"]}
    assert (tones[2]["changes"], tones[2]["travels"]) == (["DD"], {"DD": 0.5})
    assert (tones[5]["changes"], tones[5]["travels"]) == (["A"], {"A": 1.0})


def test_it_reads_its_offset_where_it_is_tuned_and_the_drop_of_others_beside():
    """Its own lever was half engaged when it was tuned: what A does is left; other strings sag by half."""
    own = OwnTemperament("mine", E9.name, {HALF: 4.0})
    alone, with_a = (E9.state({"DD": 0.5}), E9.state({"A": 1.0, "DD": 0.5}))
    assert reading(E9, own, SAGGING, 440.0, 2, alone).cents == 4.0
    assert reading(E9, own, SAGGING, 440.0, 2, with_a).cents == 2.0
    assert reading(E9, own, SAGGING, 440.0, 8, alone).cents == -0.5
    assert reading(E9, own, SAGGING, 440.0, 2, alone).tone.name == "D4"
    assert "DD at 0.5" in [str(state) for state in states_played(E9)]


def test_a_want_at_a_half_stop_tunes_the_half_stop_alone(tonegen):
    answer = tuned_for(E9, EQUAL, SAGGING, 440.0, [parse_want("2:DD:0.5+A=-12", E9)])
    assert [(each.point, each.cents) for each in answer.tunings] == [(HALF, pytest.approx(-10))]
    reads = "tonegen reads --instrument e9-ten-string"
    found = tonegen(f"{reads} --want 2:DD:0.5=-12 --json").json
    assert [(each["travel"], each["offset_cents"]) for each in found["tune"]] == [(0.5, pytest.approx(-12))]
    assert "Tune string 2 with DD at 0.5 (D4) to −12.00 cents" in tonegen(f"{reads} --want 2:DD:0.5=-12").out
    (row,) = tonegen(f"{reads} --string 2 --changes DD:0.5 --json").json["readings"]
    assert (row["note"], row["engaged"]) == ("D4", {"DD": 0.5})


def test_wants_are_met_by_direct_summation_on_random_instruments():
    """What is wanted is what is summed up by numpy's interpolation, to 1e-9 cents, at stops and between."""
    random, met = np.random.default_rng(15), {True: 0, False: 0}
    for _ in range(60):
        asked = half_way_scene(random)
        rig = asked.instrument
        own = OwnTemperament("random", rig.name, {
            point: float(random.uniform(-20, 20)) for point in rig.tuning_points()
        })  # fmt: skip
        drop = Drop("random", {n: {s: float(random.uniform(-4, 0)) for s in range(1, 7)} for n in "ABCD"})
        for wanted in asked.grips[:4]:
            string, travels = wanted.grip.strings[0], dict(wanted.state.travels)
            reads = reading(rig, own, drop, 440.0, string, wanted.state)
            want = Want(string, wanted.state, reads.cents + float(random.uniform(-8, 8)))
            answer = tuned_for(rig, own, drop, 440.0, [want])
            tuned = own.offsets_cents | {each.point: each.cents for each in answer.tunings}
            others = sum(
                travel * drop.cents[name][string]
                for name, travel in travels.items()
                if string not in rig.change(name).semitones
            )
            note = 100 * round((heard_cents(rig, own.offsets_cents, string, travels)) / 100)
            if rig.stands_at_a_stop(string, wanted.state):
                note = 100 * rig.raised_semitones(rig.point(string, wanted.state))
                assert len(answer.tunings) == 1
            assert abs(heard_cents(rig, tuned, string, travels) + others - note - want.cents) < 1e-9
            met[rig.stands_at_a_stop(string, wanted.state)] += 1
    assert min(met.values()) > 40


def test_between_two_stops_both_move_as_little_as_can_be():
    """At 0.9 of the travel the half-stop counts 0.2 and the stop 0.8: 6 cents more take so much of each."""
    answer = tuned_for(E9, EQUAL, NO_DROP, 440.0, [parse_want("2:DD:0.9=26", E9)])  # C#4 +20 so far
    assert {each.point: each.cents for each in answer.tunings} == {
        HALF: pytest.approx(6 * 0.2 / (0.2**2 + 0.8**2)), WHOLE: pytest.approx(6 * 0.8 / (0.2**2 + 0.8**2)),
    }  # fmt: skip


# ---------------------------------------------------------------------- pins, tempering, what is saved


def test_a_pin_holds_it_and_a_grip_is_tempered_in_it():
    """By hand: D4 at 5 cents, so that B3, a minor third below, gives way to be pure."""
    grip = rigs.wanted(E9, "minor third", {5: "1:1", 2: "6:5"}, {"DD": 0.5})
    pin = parse_pin("2:DD:0.5=5", E9)
    assert (pin.point, pin.cents, pin.heard) == (HALF, 5.0, "")
    solved = temper(Scene("two", E9, (grip,), pins=(pin,), stiff=False))
    assert solved.offsets_cents[HALF] == 5.0
    assert solved.offsets_cents[TuningPoint(5)] == pytest.approx(5 - (1200 * log2(6 / 5) - 300))


def test_a_pin_beside_other_pedals_holds_what_is_read_there():
    assert parse_pin("2:A+DD:0.5=0", E9, SAGGING).cents == 2.0  # A drops it by 2


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "2:DD:0.4=0",
            "between its stops in DD at 0.4; take it open, or at a stop, or at a half-stop: DD:0.5",
        ),
        ("5:A:0.5=0", "string 5 is between its stops in A at 0.5; take it open, or at a stop"),
        ("9:DD:0.5=0", "string 9 is between its stops"),
        ("2:DD:1.5=0", "change DD cannot travel 1.5"),
        ("2:DD:half=0", '"DD:half" is not a change with a travel'),
    ],
)
def test_a_pin_where_no_half_stop_is_one_line(tonegen, text, says):
    with pytest.raises(BadValue, match=says.replace("+", r"\+")):
        parse_pin(text, E9)
    assert says in tonegen.refused(f"tonegen temper e9-dance-band --pin {text}")


SCENE = """
title = "Invented: a lever half-way"
instrument = "e9-ten-string"

[[grips]]
name = "B minor DD half-way 5-2-1"
root = "B"
roles = { 5 = "1", 2 = "b3", 1 = "5" }
travels = { DD = 0.5 }

[[grips]]
name = "E 3-4"
root = "E"
roles = { 3 = "3", 4 = "1" }

[[pins]]
string = 5
cents = 2

[[limits]]
string = 2
travels = { DD = 0.5 }
from_cents = -40
to_cents = 10
"""


@pytest.fixture
def half_way(tmp_path):
    place = tmp_path / "half-way.toml"
    place.write_text(SCENE)
    return place


def test_a_scene_plays_pins_and_limits_a_half_stop(half_way):
    """B, D and F# pure: D a 6:5 above B, 15.6 cents wide of equal, but its limit is at 10."""
    asked = scene(str(half_way))
    assert [limit.point for limit in asked.limits] == [HALF]
    asked = replace(asked, stiff=False)
    assert temper(replace(asked, limits=())).offsets_cents[HALF] == pytest.approx(
        2 + 1200 * log2(6 / 5) - 300
    )
    assert temper(asked).offsets_cents[HALF] == pytest.approx(10)
    half_way.write_text(SCENE + "[[pins]]\nstring = 2\ntravels = { DD = 0.5 }\ncents = -4\n")
    assert temper(scene(str(half_way))).offsets_cents[HALF] == -4.0


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ("travels = { DD = 0.4 }\nfrom", r"limits\[0\]: string 2 is between its stops in DD at 0\.4"),
        ("travels = { A = 0.5 }\nfrom", r"limits\[0\]: change A does not move string 2"),
        ("travels = { Q = 0.5 }\nfrom", r'limits\[0\]: .*no change "Q"'),
    ],
)
def test_a_scene_with_a_travel_that_no_half_stop_has_is_refused(half_way, wrong, says):
    half_way.write_text(SCENE.replace("travels = { DD = 0.5 }\nfrom", wrong))
    with pytest.raises(BadPreset, match=says):
        scene(str(half_way))


def heard_cents(rig: Instrument, offsets, string: int, travels) -> float:
    """Cents above the open key by numpy's interpolation; at most one engaged change moves the string."""
    rest = offsets[TuningPoint(string)]
    for name, travel in travels.items():
        change = rig.change(name)
        if string in change.semitones:
            halves = change.half_stops[string]
            heights = [
                rest + half.cents if half.semitones is None
                else 100 * half.semitones + offsets[TuningPoint(string, (name,), half.travel)]
                for half in halves
            ]  # fmt: skip
            full = 100 * change.semitones[string] + offsets[TuningPoint(string, (name,))]
            return float(np.interp(travel, [0, *(h.travel for h in halves), 1], [rest, *heights, full]))
    return rest


def half_way_scene(random: np.random.Generator) -> Scene:
    """Six strings and four levers that stop on their way, in grips that stand at stops and between them."""
    changes = tuple(
        Change(name, {int(s): int(random.choice([-4, -3, -2, 2, 3, 4])) for s in
                      random.choice(np.arange(1, 7), 2, replace=False)})
        for name in "ABCD"
    )  # fmt: skip
    rig = Instrument("random", "", rigs.strings(66, 64, 61, 59, 56, 52), changes)
    rig = rigs.with_half_stops(rig, random)
    grips = []
    for number in range(8):
        first, second = random.choice(list("ABCD"), 2, replace=False)
        if rig.change(first).semitones.keys() & rig.change(second).semitones.keys():
            second = first
        travels = {name: float(random.choice([0.25, 0.5, 0.4, 0.75, 1.0])) for name in (first, second)}
        picked = tuple(sorted(map(int, random.choice(np.arange(1, 7), 4, replace=False))))
        state = rig.state(travels)
        grip = replace(rig.grip_of(picked, state), name=f"grip {number}")
        grips.append(WantedGrip(grip, state, float(random.uniform(0.5, 2))))
    return Scene("random", rig, tuple(grips))


@pytest.mark.parametrize("seed", range(12))
def test_tempering_half_stops_is_as_good_as_independent_solvers(seed):
    """numpy's least squares and scipy's linear programs, on equations that are summed up directly."""
    from scipy.optimize import linprog

    asked = half_way_scene(np.random.default_rng(seed))
    solved = temper(asked, Objective.CENTS)
    points = solved.demands.points
    assert any(point.travel < 1 for point in points)

    def errors(vector) -> np.ndarray:
        offsets = dict(zip(points, vector, strict=True))
        keys = {string.number: 100.0 * string.open_key for string in asked.instrument.strings}
        found = []
        for demand in solved.demands.demands:
            low, high = (
                keys[each.string] + heard_cents(
                    asked.instrument, offsets, each.string, demand.wanted.state.travels
                )
                for each in (demand.low, demand.high)
            )  # fmt: skip
            found.append(high - low - demand.ratio.cents)
        return np.array(found)

    at_equal = errors(np.zeros(len(points)))
    rows = np.array([errors(each) - at_equal for each in np.eye(len(points))]).T
    weights = np.array([demand.weight for demand in solved.demands.demands])
    root = np.sqrt(weights)
    best = np.linalg.lstsq(rows * root[:, None], -at_equal * root, rcond=None)[0]
    ours = root * errors(solved.offsets)
    assert float(ours @ ours) <= float(np.sum((root * errors(best)) ** 2)) * (1 + 1e-9) + 1e-9

    worst = temper(asked, Objective.WORST_CENTS)
    sides = np.vstack([rows * weights[:, None], -rows * weights[:, None]])
    edge = np.hstack([-at_equal * weights, at_equal * weights])
    found = linprog(
        [*np.zeros(len(points)), 1.0],
        A_ub=np.hstack([sides, -np.ones((len(edge), 1))]), b_ub=edge, bounds=(None, None),
    )  # fmt: skip
    assert np.abs(weights * errors(worst.offsets)).max() == pytest.approx(found.fun, abs=1e-6)


def test_it_is_saved_and_read_back_beside_its_stop(own_folder):
    """What the player wrote by hand stays; the half-stop and the stop of one lever are two figures."""
    place = own_folder / "temperaments" / "my-half.toml"
    place.parent.mkdir(parents=True)
    place.write_text(
        'title = "Mine"\ninstrument = "e9-ten-string"\n\n[[points]]\nstring = 2  # mine\nchanges = ["DD"]\n'
        "travel = 0.5\noffset_cents = 1.5\n"
    )
    assert presets.temperament("my-half").offsets_cents == {HALF: 1.5}
    save_temperament(OwnTemperament("my-half", E9.name, {HALF: -6.5, WHOLE: 2.0}))
    assert presets.temperament("my-half").offsets_cents == {HALF: -6.5, WHOLE: 2.0}
    text = place.read_text()
    assert "string = 2  # mine" in text
    assert text.count("travel") == 1


@pytest.mark.parametrize(
    ("point", "says"),
    [
        ('changes = ["DD"]\ntravel = 0.4', r"string 2 with DD at 0\.4: DD has no half-stop .* at 0\.5"),
        ('changes = ["A"]\ntravel = 0.5', "string 2 with A at 0.5: A has no half-stop that is a note there"),
        ("travel = 0.5", "travel is that of one change at its half-stop"),
        ('changes = ["DD", "G"]\ntravel = 0.5', "travel is that of one change at its half-stop"),
        ('changes = ["DD"]\ntravel = 1.5', "travel"),
        ('changes = ["DD"]\ntravel = 0', "travel"),
        (
            'changes = ["DD"]\ntravel = 0.5\noffset_cents = 1\n'
            '[[points]]\nstring = 2\nchanges = ["DD"]\ntravel = 0.5',
            "string 2 with DD at 0.5 is listed twice",
        ),
    ],
)
def test_a_travel_that_no_half_stop_has_is_one_line(tonegen, tmp_path, point, says):
    place = tmp_path / "mine.toml"
    place.write_text(
        f'title = "M"\ninstrument = "e9-ten-string"\n[[points]]\nstring = 2\n{point}\noffset_cents = 1'
    )
    for command in ("chart --instrument e9-ten-string", "order e9-dance-band"):
        said = tonegen.refused(f"tonegen {command} --temperament {place}")
        assert re.search(says, said), said


def test_tempered_saved_charted_and_filled_by_the_commands(tonegen, own_folder, half_way):
    tempered = tonegen(f"tonegen temper {half_way} --save my-half --json").json
    (half,) = [point for point in tempered["points"] if point["travel"] != 1]
    assert (half["string"], half["changes"], half["offset_cents"]) == (2, ["DD"], pytest.approx(10))
    assert presets.temperament("my-half").offsets_cents[HALF] == pytest.approx(10)
    shown = tonegen("tonegen chart --instrument e9-ten-string --temperament my-half --json").json["points"]
    assert [each["offset_cents"] for each in shown if each["travel"] != 1] == [pytest.approx(10)]
    again = tonegen("tonegen temper e9-dance-band --fill --save my-other --json").json
    (half,) = [point for point in again["points"] if point["travel"] != 1]
    (low_d,) = [point for point in again["points"] if (point["string"], point["changes"]) == (9, [])]
    assert (half["filled"], half["asked"]) == (True, True)
    assert half["offset_cents"] == pytest.approx(low_d["offset_cents"])  # D3, the only other D
    assert same_note_elsewhere(E9, {TuningPoint(9): 3.5}, HALF) == 3.5


# ---------------------------------------------------------------------- the order and paper


def test_the_order_tunes_it_with_the_lever_half_way(tonegen, half_way):
    plan = tuning_order(E9, EQUAL, NO_DROP, 440.0)
    (step,) = [step for step in plan.steps if step.tune == HALF]
    assert step.state.travels["DD"] == 0.5
    tuned = [each.tune for each in plan.steps]
    assert {HALF, WHOLE} <= {*tuned}
    for each in plan.steps:  # both tones are what sounds in the state of the step
        points = [node for node in (each.tune, each.against) if isinstance(node, TuningPoint)]
        assert all(E9.point(point.string, each.state) == point for point in points)
        assert all(E9.stands_at_a_stop(point.string, each.state) for point in points)
    steps = tonegen(f"tonegen order {half_way} --json").json["steps"]
    (half,) = [step for step in steps if step["tune"].get("travel", 1) != 1]
    assert (half["tune"]["string"], half["travels"]["DD"]) == (2, 0.5)
    assert "2 DD:0.5 D4" in tonegen(f"tonegen order {half_way}").out


def test_each_step_at_a_half_stop_beats_as_its_two_strings_do():
    """The rate that the plan says against that of the sounded grip in that very state."""
    just = on_root(presets.temperament("five-limit-just"), None, E9.root)
    offsets = {point: just.offset_cents(E9, point) for point in E9.tuning_points()}
    own = OwnTemperament("mine", E9.name, {**offsets, HALF: offsets[HALF] - 1.5})
    plan = tuning_order(E9, own, SAGGING, 440.0, stiff=False)
    (step,) = [step for step in plan.steps if step.tune == HALF]
    assert isinstance(step.against, TuningPoint)
    grip = E9.grip_of((2, step.against.string), step.state)
    hz = sorted(tone.hz for tone in tones_of_grip(E9, grip, step.state, step.fret, own, SAGGING, 440.0))
    low, high = (each * step.multiple for each in (step.ratio.upper, step.ratio.lower))
    assert step.beats_per_second == pytest.approx(high * hz[1] - low * hz[0], abs=1e-9)


def test_no_step_takes_a_string_on_its_way_for_one_at_its_stop():
    """String 2 is a fifth below the half-stop of string 1 when the lever is whole, but not half-way."""
    halves = {1: (HalfStop(0.5, -100.0, -1),)}
    rig = Instrument("rig", "", rigs.strings(64, 57), (Change("L", {1: -2, 2: -1}, half_stops=halves),))
    rig_to_tune = StringsToTune(rig, EQUAL, NO_DROP, 440.0, stiff=False)
    half, whole = TuningPoint(1, ("L",), 0.5), TuningPoint(2, ("L",))
    for points in ((half, whole), (whole, half)):
        assert list(rig_to_tune.edges(points, [], [0.0])) == []
    together = rig_to_tune.edges((TuningPoint(1), TuningPoint(2)), [], [0.0])
    assert [str(step.ratio) for step in together] == ["3:2", "3:2"]


def test_the_card_has_its_column_and_its_step():
    from tonegen.paper.card import Card, draw, own_grips

    plan = tuning_order(E9, EQUAL, NO_DROP, 440.0)
    card = Card(copedent(E9, EQUAL, NO_DROP, 440.0), EQUAL, NO_DROP, plan, own_grips(E9))
    words = [text.get_text() for page in draw(card) for text in page.texts]
    assert "DD:0.5" in words
    assert "2 DD:0.5 D4" in words
