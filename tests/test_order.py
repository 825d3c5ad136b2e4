"""The tuning order, carried out by a player who counts as well as is stated, and no better."""

from dataclasses import replace
from itertools import groupby, pairwise, permutations
from types import SimpleNamespace

import numpy as np
import pytest

from tonegen.body import HOLDS_ANYTHING
from tonegen.drop import NO_DROP
from tonegen.errors import BadValue
from tonegen.instrument import Change, Instrument, String, TuningPoint
from tonegen.interval import Ratio
from tonegen.order.plan import tuning_order
from tonegen.order.steps import Reference, TuningStep, counting_error_beats_per_second
from tonegen.order.stiff import open_stiffness_error
from tonegen.order.tree import fewest_engaged, in_playing_order, least_variance_tree
from tonegen.order.walk import Listening
from tonegen.presets import drop, instrument, temperament, timbre
from tonegen.presets.scenes import scene
from tonegen.temperament import EQUAL, OwnTemperament
from tonegen.tempering.temper import temper

SCENES = ["e9-dance-band", "c6-swing-band"]
THIRDS = [Ratio(5, 4), Ratio(6, 5), Ratio(5, 3), Ratio(8, 5), Ratio(1, 1), Ratio(2, 1)]


def planned(name, **how):
    base = scene(name)
    own = temper(base).temperament("mine")
    how = {"played": base.states, **how}
    return base, own, tuning_order(base.instrument, own, base.drop, base.reference_hz, **how)


class Player:
    """Strings after `times` tunings, by arithmetic that knows frequencies and beats, not cents or variances.

    At every step he hears the string that is tuned as it really stands, turns the other until he counts the
    stated rate, and is wrong by the stated uncertainty. His strings are as stiff as Fletcher's law makes
    them, each as far from what its gauge says as is stated.
    """

    def __init__(self, base, plan, times, seed=1):
        draw = np.random.default_rng(seed)
        self.base, self.hz = base, {}
        self.b = {
            string.number: np.maximum(draw.normal(string.stiffness, open_stiffness_error(string), times), 0)
            for string in base.instrument.strings
        }
        for step in plan.steps:
            error = counting_error_beats_per_second(step.beats_per_second, step.ratio, step.multiple)
            beats = step.beats_per_second + draw.normal(0, error, times)
            number, other = step.multiple * step.ratio.lower, step.multiple * step.ratio.upper
            if not step.tune_is_high:
                number, other, beats = other, number, -beats
            heard = self.partial_hz(step.against, other, step.state, step.fret) + beats
            self.hz[step.tune] = 1.0
            self.hz[step.tune] = heard / self.partial_hz(step.tune, number, step.state, step.fret)

    def partial_hz(self, node, number, state, fret):
        """A string that is raised is tighter, one under the bar shorter; pedals make it sag."""
        if isinstance(node, Reference):
            return number * node.hz
        rig = self.base.instrument
        b = self.b[node.string] * 2 ** ((fret - rig.raised_semitones(node)) / 6)
        sag = self.base.drop.since_tuned(rig, node.string, state) / 100
        first = self.hz[node] * 2 ** ((sag + fret) / 12)
        return first * number * np.sqrt((1 + b * number**2) / (1 + b))


def tuned_by_a_player(base, own, plan, times, seed=1):
    """How many cents off each point is, tuning by tuning."""
    rig = base.instrument
    return {
        point: 1200 * np.log2(hz / (base.reference_hz * 2 ** ((rig.key(point) - 69) / 12)))
        - own.offset_cents(rig, point)
        for point, hz in Player(base, plan, times, seed).hz.items()
    }


def all_from(plan, tone):
    """The points that hang on a tone in the end."""
    found = {tone}
    for step in plan.steps:
        if step.against in found:
            found.add(step.tune)
    return found - {tone}


@pytest.mark.parametrize("name", SCENES)
def test_on_stiff_strings_19_of_20_tunings_end_within_twice_what_is_stated(name):
    base, own, plan = planned(name)
    ended = tuned_by_a_player(base, own, plan, 10_000)

    assert {string.wire.wound for string in base.instrument.strings} == {False, True}
    within = {
        point: np.mean(np.abs(ended[point]) <= 2 * accuracy)
        for point, accuracy in plan.accuracy_cents().items()
    }
    # Two standard deviations are 95.4 %; of 10,000 draws that share is known to 0.2 %.
    assert min(within.values()) >= 0.945, within
    assert np.mean([*within.values()]) >= 0.95


def test_on_twelve_strings_with_tones_of_their_own_it_holds_as_well():
    rig = instrument("universal-twelve-string")
    plan = tuning_order(rig, EQUAL, NO_DROP, 440.0)
    by_itself = SimpleNamespace(instrument=rig, drop=NO_DROP, reference_hz=440.0)
    ended = tuned_by_a_player(by_itself, EQUAL, plan, 10_000)

    assert len({step.against for step in plan.steps if isinstance(step.against, Reference)}) >= 2
    stated = plan.accuracy_cents()
    assert set(ended) == set(rig.tuning_points())
    assert all(np.mean(np.abs(ended[point]) <= 2 * stated[point]) >= 0.945 for point in ended)


@pytest.mark.parametrize("name", SCENES)
def test_a_plan_for_flexible_strings_does_not_hold_on_stiff_ones(name):
    base, own, flexible = planned(name, stiff=False)
    ended = tuned_by_a_player(base, own, flexible, 1000)

    missed = [p for p, each in flexible.accuracy_cents().items() if abs(ended[p].mean()) > 2 * each]
    assert len(missed) >= 8


def test_a_minor_sixth_below_on_a_stiff_string():
    """Partial 8 of a plain .020 is some 8.6 cents sharp of eight times its first, by Fletcher's law."""
    rig = instrument("e9-ten-string")
    just = temperament("five-limit-just").on(rig.root)
    points, sixth = [TuningPoint(6), TuningPoint(4)], [Ratio(8, 5)]
    near = tuning_order(rig, just, NO_DROP, 440.0, points=points, ratios=sixth).steps[-1]
    far = tuning_order(rig, just, NO_DROP, 440.0, points=points, ratios=sixth, stiff=False).steps[-1]

    assert {str(near.ratio), str(far.ratio)} == {"8:5"}
    assert (near.low_hz, near.high_hz) == (far.low_hz, far.high_hz)  # of the first partial, as ever
    low, high = rig.string(6).stiffness, rig.string(4).stiffness
    eighth = 8 * near.low_hz * np.sqrt((1 + 64 * low) / (1 + low))
    fifth = 5 * near.high_hz * np.sqrt((1 + 25 * high) / (1 + high))
    assert near.beats_per_second == pytest.approx(fifth - eighth, abs=1e-9)
    assert abs(far.beats_per_second) < 1e-6 < 5 < abs(near.beats_per_second)


def test_low_partials_are_preferred_on_stiff_strings():
    rig = instrument("e9-ten-string")

    def highest_partials(**how):
        return np.mean([s.ratio.upper for s in tuning_order(rig, EQUAL, NO_DROP, 440.0, **how).steps])

    assert highest_partials() < highest_partials(stiff=False)


def test_strings_of_unknown_wire_are_named_and_less_sure():
    known = instrument("e9-ten-string")
    bare = replace(known, strings=tuple(String(each.number, each.open_key) for each in known.strings))
    sure, unsure = (tuning_order(rig, EQUAL, NO_DROP, 440.0) for rig in (known, bare))

    assert (sure.unknown_wire, sure.cautions) == ((), ())
    assert unsure.unknown_wire == tuple(range(1, 11))
    assert "strings 1, 2, 3, 4, 5, 6, 7, 8, 9, 10 may be is not known" in unsure.cautions[0]
    assert np.mean([*unsure.accuracy_cents().values()]) > np.mean([*sure.accuracy_cents().values()])
    assert tuning_order(bare, EQUAL, NO_DROP, 440.0, stiff=False).cautions == ()


@pytest.mark.parametrize("name", SCENES)
def test_ten_thousand_tunings_end_as_accurate_as_stated(name):
    base, own, plan = planned(name)
    ended = tuned_by_a_player(base, own, plan, 10_000)

    assert set(ended) == set(base.instrument.tuning_points())
    for point, accuracy in plan.accuracy_cents().items():
        assert abs(ended[point].mean()) < 5 * accuracy / 100, point
        # The standard deviation of 10,000 draws is known to 0.7 %.
        assert ended[point].std() == pytest.approx(accuracy, rel=0.04), point


@pytest.mark.parametrize("name", SCENES)
def test_better_than_thirds_from_one_tone(name):
    """The same instrument by thirds and sixths only, from the same reference tone."""
    base, own, plan = planned(name)
    _, _, thirds = planned(name, ratios=THIRDS)

    ours = {point: error.std() for point, error in tuned_by_a_player(base, own, plan, 10_000).items()}
    theirs = {point: error.std() for point, error in tuned_by_a_player(base, own, thirds, 10_000).items()}
    assert np.mean([*ours.values()]) < 0.9 * np.mean([*theirs.values()])
    from_it = all_from(thirds, plan.steps[0].against)
    assert len(from_it) >= 15  # the others can be had by thirds only from tones of their own
    assert all(ours[point] <= 1.05 * theirs[point] for point in from_it)


@pytest.mark.parametrize("name", SCENES)
def test_open_strings_first_and_nothing_before_what_it_is_heard_against(name):
    base, _, plan = planned(name)
    tuned, seen_change = set(), False
    for step in plan.steps:
        seen_change = seen_change or bool(step.tune.changes)
        assert bool(step.tune.changes) == seen_change, step.tune
        if isinstance(step.against, TuningPoint):
            assert step.against in tuned
            assert step.against.string != step.tune.string
            assert base.instrument.point(step.against.string, step.state) == step.against
        assert base.instrument.point(step.tune.string, step.state) == step.tune
        assert abs(step.beats_per_second) <= 15
        tuned.add(step.tune)
    assert tuned == set(base.instrument.tuning_points())


def test_no_path_is_better_for_any_point():
    """Every way through five strings, tried one by one, from their frequencies."""
    keys = [64, 59, 56, 52, 47]
    rig = Instrument("five", "", tuple(String(n, key) for n, key in enumerate(keys, 1)), root=4)
    plan = tuning_order(rig, EQUAL, NO_DROP, 440.0, stiff=False)
    hz = [440 * 2 ** ((key - 69) / 12) for key in keys]
    by_ear = {
        0: "1:1", 3: "6:5", 4: "5:4", 5: "4:3", 7: "3:2", 8: "8:5", 9: "5:3", 12: "2:1", 15: None, 17: "8:3"
    }  # fmt: skip

    def error(first, second):
        low, high = sorted((hz[first], hz[second]))
        ratio = by_ear[abs(keys[first] - keys[second])]
        if ratio is None:
            return np.inf
        ratio = Ratio.parse(ratio)
        beats = ratio.lower * high - ratio.upper * low
        tuned_partial = ratio.lower * high if hz[second] == high else ratio.upper * low
        return min(
            counting_error_beats_per_second(beats, ratio, n) / (n * tuned_partial * np.log(2) / 1200)
            for n in ((1, 2, 3) if ratio == Ratio(1, 1) else (1,))
        )

    for goal in range(5):
        # The tone is that of string 1, and can be heard against every string.
        paths = [
            np.sqrt(sum(error(*pair) ** 2 for pair in pairwise((0, *path, goal))))
            for count in range(5)
            for path in permutations([n for n in range(5) if n != goal], count)
        ]
        stated = plan.accuracy_cents()[TuningPoint(goal + 1)]
        assert stated == pytest.approx(min(paths), rel=1e-9)


def test_a_fifth_by_hand():
    """C3 and G3 in equal temperament, from the tone G3: 3 * 130.81 - 2 * 196.00 = 0.4432 beats, narrow."""
    rig = Instrument("pair", "", (String(1, 55), String(2, 48)), root=7)
    plan = tuning_order(rig, EQUAL, NO_DROP, 440.0, stiff=False)

    second = next(step for step in plan.steps if step.tune.string == 2)
    assert str(second.against) == "tone G3 (196.00 Hz)"
    assert str(second.ratio) == "3:2"
    assert second.beats_per_second == pytest.approx(2 * 195.99771799 - 3 * 130.81278265, abs=1e-6)
    # The lower string is tuned: a narrow fifth is reached from pure by raising it.
    assert second.count == "4 beats in 10 seconds, narrow: tune it pure, then raise it"
    assert second.pair == "partial 3 of the lower with 2 of the upper"
    # Half a beat in five seconds, over 3 * 130.81 * ln 2 / 1200 beats to the cent.
    assert second.counting_error_cents == pytest.approx(0.1 / 0.226682, rel=1e-4)
    assert second.accuracy_cents == second.counting_error_cents
    # String 1 is tuned in unison with its tone, heard at partial 3: the fifth between them is the check.
    first = next(step for step in plan.steps if step.tune.string == 1)
    assert (str(first.ratio), first.multiple, str(first.against)) == ("1:1", 3, "tone G3 (196.00 Hz)")
    assert [str(check.ratio) for check in plan.checks] == ["3:2"]


def test_a_bar_brings_its_own_error():
    """Half a cent, beside that of counting; at the twelfth fret a cent beats twice as fast."""
    rig = Instrument("pair", "", (String(1, 55), String(2, 48)), root=7)
    plan = tuning_order(rig, EQUAL, NO_DROP, 440.0, stiff=False, frets=[12.0], ratios=[Ratio(3, 2)])

    (barred,) = [step for step in plan.steps if step.fret]
    assert isinstance(barred.against, TuningPoint)
    partial = (
        barred.ratio.lower * barred.high_hz if barred.tune_is_high else barred.ratio.upper * barred.low_hz
    )
    assert partial == pytest.approx(2 * 3 * 130.8, rel=1e-2)
    counting = 0.1 / (partial * np.log(2) / 1200)
    assert barred.counting_error_cents == pytest.approx(np.hypot(counting, 0.5), rel=1e-3)


def test_the_sag_is_in_the_target():
    """A alone: string 4 sags 1.9 cents while string 5 is set against it; the beat says so."""
    base = scene("e9-dance-band")
    with_drop = tuning_order(base.instrument, EQUAL, base.drop, 440.0)
    without = tuning_order(base.instrument, EQUAL, NO_DROP, 440.0)
    point = TuningPoint(5, ("A",))
    sagging, steady = (next(s for s in plan.steps if s.tune == point) for plan in (with_drop, without))

    assert sagging.against == steady.against
    assert isinstance(sagging.against, TuningPoint)
    sag = drop("demo-soft-cabinet").cents["A"][sagging.against.string]
    per_cent = steady.ratio.upper * steady.low_hz * np.log(2) / 1200
    side = -1 if steady.tune_is_high else 1
    moved = sagging.beats_per_second - steady.beats_per_second
    assert moved == pytest.approx(side * sag * per_cent, rel=2e-3)


def test_checks_close_loops_that_were_not_tuned():
    base, _, plan = planned("e9-dance-band")
    tuned = {frozenset((step.tune, step.against)) for step in plan.steps}

    assert len(plan.checks) >= 4
    player = Player(base, plan, 4000)
    for check in plan.checks:
        assert frozenset((check.low, check.high)) not in tuned
        low = player.partial_hz(check.low, check.ratio.upper, check.state, check.fret)
        high = player.partial_hz(check.high, check.ratio.lower, check.state, check.fret)
        # Two standard deviations of what the player ends with and of counting the check.
        counting = counting_error_beats_per_second(check.beats_per_second, check.ratio)
        spread = np.hypot((high - low).std(), counting)
        assert 2 * spread == pytest.approx(check.within_beats_per_second, rel=0.06), check


def test_what_nothing_can_be_heard_against_gets_its_own_tone():
    """A twelfth is tuned by ear; with the pedal it is a tritone and an octave, which is not."""
    rig = Instrument("far", "", (String(1, 60), String(2, 41)), (Change("P", {2: 1}),))
    plan = tuning_order(rig, EQUAL, NO_DROP, 440.0)

    against = {step.tune: str(step.against) for step in plan.steps}
    assert against[TuningPoint(2, ("P",))] == "tone F#2 (92.50 Hz)"
    assert against[TuningPoint(2)] == "tone C4 (261.63 Hz)"
    plan = tuning_order(rig, EQUAL, NO_DROP, 440.0, ratios=[Ratio(1, 1)])
    assert {step.tune for step in plan.steps} == set(rig.tuning_points())
    assert all(isinstance(step.against, Reference) for step in plan.steps)


def test_a_bar_below_it_leaves_the_short_string_open():
    """A banjo's drone stays G4, 392 Hz, with the bar at the third fret, where B3 is D4: a fourth below it."""
    rig = instrument("banjo-open-g")
    points = [TuningPoint(2), TuningPoint(5)]
    tone = Reference("tone D4", 293.66477)
    plan = tuning_order(rig, EQUAL, NO_DROP, 440.0, points=points, references=[tone], frets=[3.0])

    (step,) = [step for step in plan.steps if step.fret]
    assert (str(step.ratio), step.low_hz, step.high_hz) == (
        "4:3", pytest.approx(293.66477), pytest.approx(391.99544),
    )  # fmt: skip


@pytest.mark.parametrize("name", SCENES)
def test_each_step_can_be_held_and_engages_what_a_grip_plays_or_a_point_needs(name):
    base, _, plan = planned(name)
    played = {frozenset(wanted.state.changes) for wanted in base.grips}
    for each in (*plan.steps, *plan.checks):
        ends = (each.tune, each.against) if hasattr(each, "tune") else (each.low, each.high)
        needed = {frozenset(end.changes) for end in ends if isinstance(end, TuningPoint)}
        assert frozenset(each.state.changes) in played | needed, each
        assert base.instrument.body.holds(each.state.changes), each


PRESETS = ["e9-ten-string", "c6-ten-string", "universal-twelve-string"]


@pytest.mark.parametrize("name", PRESETS)
def test_of_an_instrument_by_itself_its_own_grips_count(name):
    rig = instrument(name)
    played = {frozenset(grip.changes) for grip in rig.grips}
    for step in tuning_order(rig, temperament("five-limit-just").on(rig.root), NO_DROP, 440.0).steps:
        assert frozenset(step.state.changes) in played | {frozenset(step.tune.changes)}, step
        assert rig.body.holds(step.state.changes), step


def test_what_the_body_cannot_hold_is_not_asked_for_even_where_a_grip_plays_it():
    """5 V is surest against 4 F, with both levers of one knee: with this body 7 takes its place, or none."""
    rig = instrument("e9-ten-string")
    played = [rig.state(["F", "V"])]

    def states(body):
        plan = tuning_order(replace(rig, body=body), EQUAL, NO_DROP, 440.0, played=played)
        return {str(step.state) for step in plan.steps}

    assert "F+V" in states(HOLDS_ANYTHING)
    assert "F+V" not in states(rig.body)
    assert "F+V" in states(replace(rig.body, together=(frozenset("FV"),)))


def test_a_stop_that_no_body_holds_is_told_from_its_own_tone_with_a_caution():
    """A and C both raise string 5 to C#4: together they are a stop of their own, two pedals apart."""
    rig = instrument("e9-ten-string")
    points = (*rig.tuning_points(), TuningPoint(5, ("A", "C")))
    plan = tuning_order(rig, EQUAL, NO_DROP, 440.0, points=points, played=[rig.state("AC")])

    apart = [step for step in plan.steps if not rig.body.holds(step.state.changes)]
    assert [(str(step.tune), step.against.name) for step in apart] == [("string 5 with A+C", "tone C#4")]
    (caution,) = plan.cautions
    assert caution.startswith("No foot and two knees hold A+C: press one of them by hand")
    able = replace(rig, body=replace(rig.body, together=(frozenset("AC"),)))
    assert tuning_order(able, EQUAL, NO_DROP, 440.0, points=points).cautions == ()


@pytest.mark.parametrize(("less_sure", "taken"), [(0.32, ("A",)), (0.34, ("A", "B"))])
def test_the_fewest_changes_of_ways_that_are_within_a_tenth_of_the_surest(less_sure, taken):
    rig = instrument("e9-ten-string")
    point, tone = TuningPoint(5, ("A",)), Reference("tone E4", 329.63)

    def way(changes, error):
        return TuningStep(point, tone, rig.state(changes), 0.0, Ratio(6, 5), 277.2, 329.63, False, error)

    ways = [way("AB", 0.30), way("A", less_sure)]
    (step,) = fewest_engaged(least_variance_tree([point], [tone], ways), ways).values()
    assert step.state.changes == taken
    assert step.accuracy_cents <= 1.1 * 0.30


@pytest.mark.parametrize("name", [*SCENES, *PRESETS])
def test_the_same_pedals_stay_down_until_all_that_needs_them_is_tuned(name):
    plan = planned(name)[2] if name in SCENES else tuning_order(instrument(name), EQUAL, NO_DROP, 440.0)
    down = [state for state, _ in groupby(str(step.state) for step in plan.steps)]
    assert len(down) == len(set(down)), down


def tuned_in(*steps):
    """The order of steps written "5 A < 6 B": string 5 in state A, once 6 B is tuned."""
    rig, tone, points = instrument("e9-ten-string"), Reference("tone E4", 329.63), {}
    for step in steps:
        (string, changes), after = ((each or "0 -").split() for each in step.partition(" < ")[::2])
        point = TuningPoint(int(string), (changes,))
        against = TuningPoint(int(after[0]), (after[1],)) if after[1] != "-" else tone
        points[point] = TuningStep(
            point, against, rig.state(changes), 0.0, Ratio(3, 2), 220.0, 330.0, False, 0.1
        )
    return [f"{step.tune.string} {step.tune.changes[0]}" for step in in_playing_order(rig, points)]


def test_a_state_waits_until_all_in_it_can_be_tuned():
    assert tuned_in("5 A", "10 A < 6 B", "6 B") == ["6 B", "5 A", "10 A"]


def test_where_two_states_wait_for_each_other_the_pedal_stays_down_as_long_as_it_can():
    order = tuned_in("5 A", "7 A", "10 A < 3 B", "3 B", "6 B < 5 A")
    assert order == ["5 A", "7 A", "3 B", "6 B", "10 A"]


def test_from_one_state_to_the_next_as_few_pedals_move_as_can_be():
    plan = planned("e9-dance-band")[2]
    down = [state for state, _ in groupby(str(step.state) for step in plan.steps)]
    at = down.index("B+C")
    assert {down[at - 1], down[at + 1]} == {"B", "C"}
    at = down.index("A+V")
    assert {down[at - 1], down[at + 1]} == {"A", "V"}


@pytest.mark.parametrize(("name", "string", "tone"), [("e9-dance-band", 4, "E4"), ("c6-swing-band", 3, "C4")])
def test_the_string_of_the_tone_is_tuned_in_unison_with_it(name, string, tone):
    """Half a beat in five seconds at the third partial is a third of the cents that it is at the first."""
    plan = planned(name)[2]
    step = next(step for step in plan.steps if step.tune == TuningPoint(string))

    assert (step.against.name, str(step.ratio), step.partials) == (f"tone {tone}", "1:1", (3, 3))
    assert step.low_hz == step.high_hz
    assert step.coincident_hz == pytest.approx(3 * step.low_hz, rel=1e-3)
    once = counting_error_beats_per_second(0.0, Ratio(1, 1), 1) / (step.low_hz * np.log(2) / 1200)
    assert step.accuracy_cents < 0.5 * once


def test_a_unison_sounds_and_beats_at_the_partial_that_is_listened_to():
    """The tone's third partial is three times its first; the string's is sharp by its stiffness."""
    base, _, plan = planned("e9-dance-band")
    at = next(n for n, step in enumerate(plan.steps) if step.tune == TuningPoint(4))
    place = Listening(plan, base.reference_hz, at)
    (interval,) = place.sounding().intervals

    b = base.instrument.string(4).stiffness
    sharp = np.sqrt((1 + 9 * b) / (1 + b))
    assert interval.beats_per_second == pytest.approx(3 * plan.steps[at].low_hz * (sharp - 1), rel=1e-9)
    assert interval.beats_per_second == plan.steps[at].beats_per_second
    low, high = place.pressed("p").tones(timbre("string"))
    assert low.only == high.only == {3}


def test_a_count_too_fast_to_be_sure_of_gives_way_to_a_tone_of_its_own():
    """1 G beats more than 8 times a second with every string that sounds then."""
    plan = planned("e9-dance-band")[2]

    assert max(abs(each.beats_per_second) for each in (*plan.steps, *plan.checks)) <= 8
    assert str(plan.steps[-1].tune) == "string 1 with G"
    assert plan.steps[-1].against.name == "tone G4"
    assert plan.steps[-1].accuracy_cents < 0.5


def test_tones_of_different_hz_have_different_names():
    """Strings, each a twelfth below the first, which levers of one knee take to F#2: 20 cents apart."""
    levers = (Change("P", {2: 1}), Change("Q", {3: 1}), Change("R", {4: 1}))
    low = [String(number, 41) for number in (2, 3, 4)]
    rig = Instrument("far", "", (String(1, 60), *low), levers, (), (frozenset("PQR"),))
    points = {TuningPoint(2, ("P",)): 10.0, TuningPoint(3, ("Q",)): -10.0, TuningPoint(4, ("R",)): -10.0}
    own = OwnTemperament("mine", "far", points)
    tones = {step.against for step in tuning_order(rig, own, NO_DROP, 440.0).steps}
    named = {tone.name: tone.hz for tone in tones if isinstance(tone, Reference)}

    assert set(named) == {"tone C4", "tone F#2", "tone F#2 (2)"}
    assert sorted(named.values()) == pytest.approx(
        [92.4986 * 2 ** (-10 / 1200), 92.4986 * 2 ** (10 / 1200), 261.6256], rel=1e-6
    )
    same = OwnTemperament("mine", "far", dict.fromkeys(points, 10.0))
    tones = {step.against for step in tuning_order(rig, same, NO_DROP, 440.0).steps}
    assert {tone.name for tone in tones if isinstance(tone, Reference)} == {"tone C4", "tone F#2"}
    with pytest.raises(BadValue, match="two reference tones have one name"):
        tuning_order(rig, EQUAL, NO_DROP, 440.0, references=[Reference("E", 330.0), Reference("E", 329.6)])


def test_the_bass_as_reference():
    e9 = instrument("e9-ten-string")
    plan = tuning_order(e9, EQUAL, NO_DROP, 440.0, references=[Reference("bass E2", 82.4069)])

    assert plan.steps[0].against == Reference("bass E2", 82.4069)
    assert sum(step.against == plan.steps[0].against for step in plan.steps) >= 2


def test_fast_beats_and_weak_pairs_count_less():
    fifth, third = Ratio(3, 2), Ratio(5, 4)
    assert counting_error_beats_per_second(2, fifth) < counting_error_beats_per_second(6, fifth)
    assert counting_error_beats_per_second(2, fifth) < counting_error_beats_per_second(2, third)
    unison = Ratio(1, 1)
    errors = [counting_error_beats_per_second(2, unison, multiple) for multiple in (1, 2, 3)]
    assert errors == pytest.approx([0.1, 0.1, 0.1 * (1 + np.log2(9 / 6) / 2)], rel=1e-12)
