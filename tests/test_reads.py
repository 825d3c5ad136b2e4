"""What a meter shows, and what to tune so that it shows what is wanted."""

from math import log2

import numpy as np
import pytest

from tests.rigs import strings
from tonegen import presets
from tonegen.drop import NO_DROP, Drop
from tonegen.errors import BadValue
from tonegen.instrument import Change, Instrument, TuningPoint
from tonegen.reads import parse_place, reading, readings_by_point, states_played
from tonegen.temperament import EQUAL, OwnTemperament
from tonegen.wants import Want, parse_want, tuned_for

E9 = presets.instrument("e9-ten-string")
SOFT = Drop("soft", {"A": {8: -2.0, 5: -4.0}, "B": {8: -1.5, 5: -0.5}}, {frozenset("AB"): {8: -3.0}})
MINE = OwnTemperament("mine", "e9-ten-string", {TuningPoint(8): 3.0, TuningPoint(5, ("A",)): -14.0})
READS = "tonegen reads --instrument e9-ten-string --drop demo-stiff-cabinet"


def test_a_string_reads_what_it_is_tuned_to_and_the_drop_of_what_pulls_others():
    low_e = reading(E9, MINE, SOFT, 440.0, 8, E9.state(["A", "B"]))
    assert (low_e.tone.offset_cents, low_e.tone.drop_cents, low_e.cents) == (
        3.0,
        -3.0,
        0.0,
    )  # measured together
    assert low_e.tone.hz == pytest.approx(440 * 2 ** (-17 / 12))  # E3, by hand
    # String 5 was tuned with A down: only what B does is left.
    assert reading(E9, MINE, SOFT, 440.0, 5, E9.state(["A", "B"])).cents == -14.5


def test_under_the_bar_the_cents_are_the_same_and_the_hz_a_fret_higher():
    at_nut, at_third = (reading(E9, MINE, SOFT, 442.0, 8, E9.state(["A"]), fret) for fret in (0.0, 3.0))
    assert at_third.cents == at_nut.cents == 1.0
    assert at_third.tone.name == "G3"
    assert 12 * log2(at_third.tone.hz / at_nut.tone.hz) == pytest.approx(3.0)


def test_the_states_of_a_chart_are_those_of_columns_and_grips_once_each():
    names = [str(state) for state in states_played(E9)]
    assert len(set(names)) == len(names)
    assert {"open", "A", "G", "A+V", "A+B+F"} <= {*names}
    assert [str(state) for state in states_played(E9, [E9.state(["A", "B"])])] == ["open", "A+B"]


def test_a_want_tunes_the_point_that_its_state_selects():
    answer = tuned_for(E9, MINE, SOFT, 440.0, [parse_want("8:A+B=−0.5", E9), parse_want("5:A+B=-13", E9)])
    assert {str(each.point): each.cents for each in answer.tunings} == {
        "string 8 open": pytest.approx(2.5), "string 5 with A": pytest.approx(-12.5),
    }  # fmt: skip
    moved = {
        (was.string, str(was.state)): now.cents - was.cents for was, now in answer.moves(states_played(E9))
    }
    assert moved[8, "open"] == moved[8, "B+C"] == pytest.approx(-0.5)
    assert (8, "A+B+F") not in moved  # there F stops it
    assert moved[5, "A"] == pytest.approx(1.5)
    assert all(string in (5, 8) for string, _ in moved)


def test_the_beats_of_the_grips_it_is_in_move_and_no_others():
    answer = tuned_for(E9, MINE, NO_DROP, 440.0, [parse_want("8=0", E9)])
    state = E9.state()
    found = answer.beats(E9.grip_of((8, 6, 5), state), state, stiff=False)
    assert [(now.low.string, now.high.string) for _, now in found] == [(8, 6), (8, 5)]
    assert answer.beats(E9.grip_of((6, 5, 4), state), state) == ()
    before, after = next(pair for pair in found if pair[0].high.string == 6)
    assert after.cents - before.cents == pytest.approx(3.0)
    # The fifth partial of E3 against the fourth of G#3, at equal temperament, from the definition.
    e3, g_sharp3 = (440 * 2 ** (semitones / 12) for semitones in (-17, -13))
    assert after.beats_per_second == pytest.approx(4 * g_sharp3 - 5 * e3)
    # The same on strings as stiff as their gauges make them: B of a wound .030 and of a plain .020.
    stiff = next(now for _, now in answer.beats(E9.grip_of((8, 6), state), state))
    fifth, fourth = (n * ((1 + n**2 * b) / (1 + b)) ** 0.5 for n, b in ((5, 3.61e-5), (4, 1.63e-4)))
    assert stiff.beats_per_second == pytest.approx(fourth * g_sharp3 - fifth * e3, abs=0.01)


def test_a_want_that_is_met_already_tunes_nothing():
    assert tuned_for(E9, MINE, SOFT, 440.0, [parse_want("8:A+B=0", E9)]).tunings == ()


def test_a_half_engaged_want_moves_open_and_stop_as_little_as_can_be():
    answer = tuned_for(E9, EQUAL, NO_DROP, 440.0, [parse_want("5:A:0.5=2", E9)])
    assert [each.cents for each in answer.tunings] == pytest.approx([2.0, 2.0])  # halves of each, 1 + 1
    both = [parse_want(text, E9) for text in ("5:A:0.5=2", "5=0")]
    answer = tuned_for(E9, EQUAL, NO_DROP, 440.0, both)
    assert {str(each.point): each.cents for each in answer.tunings} == {"string 5 with A": pytest.approx(4.0)}


def test_wants_that_exclude_each_other_are_named_and_the_others_are_not():
    wants = [parse_want(text, E9) for text in ("8:F=4", "8:A+B=0", "8:B=3", "5=1")]
    with pytest.raises(
        BadValue, match=r"^wants exclude each other: string 8 with A\+B at \+0 and string 8 with B"
    ):
        tuned_for(E9, EQUAL, SOFT, 440.0, wants)
    three = [parse_want(text, E9) for text in ("5=0", "5:A=0", "5:A:0.5=3")]
    with pytest.raises(
        BadValue, match=r"string 5 open at .*, string 5 with A at .* and string 5 with A at 0.5"
    ):
        tuned_for(E9, EQUAL, NO_DROP, 440.0, three)


def test_a_want_on_nothing_is_one_line(tonegen):
    for want, why in (
        ("12:A=0", "has no string 12"),
        ("8:E+F=0", "exclude each other"),
        ("8:Q=0", 'no change "Q"'),
        ("8:A", "is not a want"),
        ("8:A=nan", "is not a want"),
        ("8:A:x=0", "is not a change with a travel"),
        ("8:A:2=0", "cannot travel 2"),
        ("eight=0", "is not a string in a state"),
    ):
        said = tonegen.refused(f"{READS} --want {want}")
        assert said.startswith("--want: ")
        assert why in said
    assert "wants exclude" in tonegen.refused(f"{READS} --want 8:A=0 --want 8=0")
    assert "leave --string" in tonegen.refused(f"{READS} --want 8:A=0 --string 8")
    assert "no string 11" in tonegen.refused(f"{READS} --string 11")
    assert "is for c6-ten-string" in tonegen.refused(f"{READS} --scene c6-swing-band")
    assert "off the neck" in tonegen.refused(f"{READS} --want 8=1 --fret 30")


def random_rig(random: np.random.Generator) -> Instrument:
    """Four strings and five changes, each raising or lowering some of them; invented."""
    changes = []
    for name in "ABCDE":
        moved = random.choice(np.arange(1, 5), size=random.integers(1, 4), replace=False)
        changes.append(
            Change(name, {int(string): int(random.choice([-3, -2, -1, 1, 2, 3])) for string in moved})
        )
    return Instrument("random", "", strings(64, 59, 56, 52), tuple(changes))


def sounds(rig: Instrument, offsets, drop: Drop, string: int, engaged: list[str]) -> float:
    """Cents above the open key, added up from the definition: point, semitones, drop of each change."""
    semitones = {
        name: rig.change(name).semitones[string] for name in engaged if string in rig.change(name).semitones
    }
    ends = (max(0, *semitones.values(), 0), min(0, *semitones.values(), 0)) if semitones else (0, 0)
    own = tuple(name for name, moved in semitones.items() if moved in ends)
    stop = offsets[TuningPoint(string, own)]
    others = sum(drop.cents[name][string] for name in engaged if name not in semitones)
    return 100 * sum(ends) + stop + others


def test_wants_are_met_by_direct_summation_on_random_instruments():
    """300 instruments, drops and sets of wants: what is wanted is what is summed up, to 1e-9 cents."""
    random = np.random.default_rng(11)
    met = 0
    for _ in range(300):
        rig = random_rig(random)
        drop = Drop("random", {n: {s: float(random.uniform(-4, 0)) for s in range(1, 5)} for n in "ABCDE"})
        offsets = {point: float(random.uniform(-20, 20)) for point in rig.tuning_points()}
        wants, held = [], set()
        for _ in range(5):
            engaged = [name for name in "ABCDE" if random.random() < 0.4]
            string = int(random.integers(1, 5))
            point = rig.point(string, rig.state(engaged))
            if point not in held:
                held.add(point)
                wants.append(Want(string, rig.state(engaged), float(random.uniform(-30, 30))))
        answer = tuned_for(rig, OwnTemperament("random", "random", offsets), drop, 440.0, wants)
        tuned = offsets | {each.point: each.cents for each in answer.tunings}
        for want in wants:
            engaged = [*want.state.travels]
            summed = sounds(rig, tuned, drop, want.string, engaged)
            note = 100 * rig.raised_semitones(rig.point(want.string, want.state))
            assert abs(summed - note - want.cents) < 1e-9
            assert abs(answer.readings(want.string, want.state)[1].cents - want.cents) < 1e-9
            met += 1
    assert met > 1000


def test_half_engaged_wants_are_met_on_random_instruments():
    random = np.random.default_rng(12)
    for _ in range(100):
        rig = random_rig(random)
        offsets = {point: float(random.uniform(-20, 20)) for point in rig.tuning_points()}
        travels = {name: float(random.uniform(0.1, 1)) for name in "ABCDE" if random.random() < 0.4}
        want = Want(int(random.integers(1, 5)), rig.state(travels), float(random.uniform(-20, 20)))
        answer = tuned_for(rig, OwnTemperament("random", "random", offsets), NO_DROP, 440.0, [want])
        _, after = answer.readings(want.string, want.state)
        heard = 1200 * log2(after.tone.hz / (440 * 2 ** ((rig.string(want.string).open_key - 69) / 12)))
        assert abs((heard - want.cents + 50) % 100 - 50) < 1e-9


def test_reads_prints_offset_drop_and_sum_of_every_state(tonegen):
    rows = tonegen(f"{READS} --temperament five-limit-just --string 8 --json").json["readings"]
    by_state = {"+".join(row["engaged"]): row for row in rows}
    assert by_state["A+B"]["drop_cents"] == pytest.approx(
        by_state["A"]["drop_cents"] + by_state["B"]["drop_cents"]
    )
    assert all(row["reads_cents"] == row["offset_cents"] + row["drop_cents"] for row in rows)
    one = tonegen(f"{READS} --string 8 --changes A,B --fret 3 --json").json["readings"]
    assert [(row["string"], row["note"], row["fret"]) for row in one] == [(8, "G3", 3.0)]
    of_scene = tonegen(f"{READS} --scene e9-dance-band --string 8 --json").json["readings"]
    assert {"+".join(row["engaged"]) for row in of_scene} >= {"", "A+B"}
    assert "G" not in {"+".join(row["engaged"]) for row in of_scene}


def test_reads_answers_a_want_with_what_to_tune_and_what_else_moves(tonegen):
    said = tonegen(f"{READS} --want 8:A+B=0").out
    assert "Tune string 8 open (E3) to +1.50 cents, 164.96 Hz; it was at +0.00" in said
    assert "Then string 8 with A+B reads +0.00, 164.81 Hz" in said
    found = tonegen(f"{READS} --want 8:A+B=0 --json").json
    assert found["tune"][0]["offset_cents"] == pytest.approx(1.5)
    assert {row["after"]["string"] for row in found["moves"]} == {8}
    assert all(8 in (row["after"]["low_string"], row["after"]["high_string"]) for row in found["beats"])
    by_ratio = tonegen(f"{READS} --want 8:A+B=0 --timbre harmonic --json").json
    stiff, flexible = (
        {
            (row["grip"], row["after"]["high_string"]): row["after"]["beats_per_second"]
            for row in each["beats"]
        }
        for each in (found, by_ratio)
    )
    assert abs(stiff["E major 5-6-8", 6] - flexible["E major 5-6-8", 6]) > 0.2
    assert tonegen(f"{READS} --want 8=0").out.splitlines()[2] == "Nothing to tune: it reads so already"


def test_a_want_that_may_break_a_string_is_cautioned(tonegen):
    assert "it may break" in " ".join(tonegen(f"{READS} --want 3=400").out.split())


def test_a_chart_says_what_each_cell_reads_with_drop_in_the_states_that_are_played(tonegen):
    chart = "tonegen chart --instrument e9-ten-string --drop demo-stiff-cabinet --json"
    found = tonegen(chart).json["readings"]
    together = [row for row in found if row["string"] == 8 and "+".join(row["engaged"]) == "A+B+F"]
    assert [row["reads_cents"] for row in together] == [pytest.approx(-1.5)]  # A -0.8 and B -0.7
    of_scene = tonegen(f"{chart} --scene e9-dance-band").json["readings"]
    assert {"+".join(row["engaged"]) for row in of_scene} < {"+".join(row["engaged"]) for row in found}


def test_measured_combinations_are_read_as_they_were_measured():
    shown = readings_by_point(E9, EQUAL, SOFT, 440.0, states_played(E9))
    assert {str(each.state): each.cents for each in shown[TuningPoint(8)]}["A+B"] == -3.0  # and not -3.5


def test_a_place_is_a_string_and_what_is_engaged():
    assert parse_place("8", E9) == (8, E9.state())
    assert parse_place(" 5:A:0.5+B", E9) == (5, E9.state({"A": 0.5, "B": 1.0}))
