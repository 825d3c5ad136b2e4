"""Tempering and tuning on stiff strings, against another solver and a player, both by Fletcher's law."""

import tomllib
from dataclasses import replace
from fractions import Fraction
from itertools import combinations
from math import log2, pi
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import linprog, lsq_linear

from tests import rigs
from tonegen.errors import BadValue
from tonegen.instrument import Instrument, String, TuningPoint
from tonegen.interval import Ratio
from tonegen.order.plan import tuning_order
from tonegen.order.steps import Reference
from tonegen.presets.scenes import scene
from tonegen.tempering.scene import Pin, Scene
from tonegen.tempering.temper import Objective, temper

PRESETS = Path(__file__).parents[1] / "presets"
SCENES = ["e9-dance-band", "c6-swing-band"]
NOTES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
DEGREES = {
    "1": "1", "9": "9/8", "b3": "6/5", "3": "5/4", "4": "4/3", "5": "3/2", "6": "5/3", "b7": "9/5",
    "7": "15/8", "2": "9/8", "b5": "64/45",
}  # fmt: skip
OCTAVE = Fraction(2)


def toml(kind, name):
    return tomllib.loads((PRESETS / kind / f"{name}.toml").read_text(encoding="utf-8"))


def key_of(note):
    return NOTES[note[0]] + note.count("#") + 12 * (int(note[-1]) + 1)


def hz_of(cents_above_key_0):
    return 440 * 2 ** (cents_above_key_0 / 1200 - 69 / 12)


def open_b(string, scale_inches):
    """B by Fletcher (1964), pi^3 E d^4 / (64 T L^2); steel of 200 GPa and 7850 kg/m3, the usual core."""
    inch, length = 0.0254, scale_inches * 0.0254
    whole = string["gauge_inches"] * inch
    core = 0.0135 * (string["gauge_inches"] / 0.026) ** 0.4 * inch if string.get("wound") else whole
    wrap = (whole - core) / 2
    mass = 7850 * (pi * core**2 / 4 + pi**2 * wrap * (core + wrap) / 4)
    tension = mass * (2 * length * hz_of(100 * key_of(string["open"]))) ** 2
    return pi**3 * 200e9 * core**4 / (64 * tension * length**2)


def sharp_cents(partial, b):
    return 600 * log2((1 + b * partial**2) / (1 + b))


class WrittenDown:
    """A scene's equations straight from its files: rows, what they want, how they count."""

    def __init__(self, name, stiff):
        self.scene = toml("scenes", name)
        self.rig = toml("instruments", self.scene["instrument"])
        self.stiff, self.columns, self.rows = stiff, {}, []
        drop = toml("drops", self.scene["drop"]) if "drop" in self.scene else {}
        self.sag = {
            change: {int(s): c for s, c in each.items()} for change, each in drop.get("cents", {}).items()
        }
        self.together = [
            (set(each["changes"]), {int(s): c for s, c in each["cents"].items()})
            for each in drop.get("combinations", [])
        ]
        self.moves = {
            each["name"]: {int(s): m for s, m in each["moves"].items()} for each in self.rig["changes"]
        }
        for asked in self.scene["grips"]:
            self.grip(asked)
        for point in list(self.columns) if self.scene.get("pull") else ():
            key = key_of(self.rig["strings"][point[0] - 1]["open"]) + sum(
                self.moves[c][point[0]] for c in point[1]
            )
            self.row(((point, 1),), 0.0, hz_of(100 * key), self.scene["pull"], 1)

    def drop(self, string, changes):
        left, total = set(changes), 0.0
        for names, cents in sorted(self.together, key=lambda each: -len(each[0])):
            if names <= left and string in cents:
                left, total = left - names, total + cents[string]
        return total + sum(self.sag.get(change, {}).get(string, 0.0) for change in left)

    def grip(self, asked):
        saved = next((grip for grip in self.rig["grips"] if grip["name"] == asked["name"]), asked)
        changes, weight = saved.get("changes", []), asked.get("weight", 1)
        ratios = saved.get("ratios", {})
        voices = []
        for string, role in saved["roles"].items():
            own = tuple(c for c in changes if int(string) in self.moves[c])
            key = key_of(self.rig["strings"][int(string) - 1]["open"]) + sum(
                self.moves[c][int(string)] for c in own
            )
            sag = self.drop(int(string), changes) - self.drop(int(string), own)
            degree = Fraction(ratios.get(string, DEGREES[role]).replace(":", "/"))
            voices.append((key, int(string), own, sag, degree))
        voices.sort()
        frets = asked.get("frets", [0])
        for fret in frets:
            for low, high in combinations(voices, 2):
                self.interval(low, high, fret, weight, len(frets))
            for part in self.scene["band"]:
                if asked["name"] in part.get("grips", [asked["name"]]):
                    self.band(part, voices, fret, weight, len(frets))

    def interval(self, low, high, fret, weight, frets):
        ratio = high[4] / low[4]
        ratio *= OCTAVE ** round((high[0] - low[0]) / 12 - log2(ratio))
        p, q = ratio.numerator, ratio.denominator
        b_low, b_high = (self.b(each, fret) if max(p, q) <= 8 else 0.0 for each in (low, high))
        size = 1200 * log2(ratio) + sharp_cents(p, b_low) - sharp_cents(q, b_high)
        there = 100 * (high[0] - low[0]) + high[3] - low[3]
        heard = min(p, 16)
        slope = heard * hz_of(100 * (low[0] + fret)) * 2 ** (sharp_cents(heard, b_low) / 1200)
        self.row(((low[1:3], -1), (high[1:3], 1)), size - there, slope, weight, frets)

    def b(self, voice, fret):
        raised = voice[0] - key_of(self.rig["strings"][voice[1] - 1]["open"])
        b = open_b(self.rig["strings"][voice[1] - 1], self.rig["scale_length_inches"])
        return b * 2 ** ((fret - raised) / 6) * self.stiff

    def band(self, part, voices, fret, weight, frets):
        """Flexible, at equal temperament, against roots or the strings that are named."""
        for voice in voices:
            key, string, _, sag, degree = voice
            if string not in part.get("strings", [string] if degree == 1 else []):
                continue
            if part["plays"] == "root":
                lowest = key_of(part["lowest"])
                played = lowest + (key + fret - lowest) % 12
            else:
                played = key + fret
            octaves = (key + fret - played) // 12
            assert octaves >= 0  # so the string's own first partial beats, wherever it is
            self.row(
                ((voice[1:3], 1),),
                -sag,
                2**octaves * hz_of(100 * played),
                weight * part.get("weight", 1),
                frets,
            )

    def row(self, terms, wanted, partial_hz, weight, frets):
        for point, _ in terms:
            self.columns.setdefault(point, len(self.columns))
        self.rows.append((dict(terms), wanted, partial_hz * np.log(2) / 1200, weight, weight / frets))

    def solved(self, objective):
        """The value of the objective by scipy, pins held and limits as bounds."""
        matrix = np.array([[terms.get(point, 0.0) for point in self.columns] for terms, *_ in self.rows])
        wanted, slope, worst, squares = np.array([row[1:] for row in self.rows]).T
        scale = (worst if objective.of_worst else np.sqrt(squares)) * (slope if objective.in_beats else 1.0)
        edge = self.scene["within_cents"]
        bounds = dict.fromkeys(self.columns, (-edge, edge))
        for limit in self.scene.get("limits", []):
            bounds[limit["string"], tuple(limit.get("changes", ()))] = limit["from_cents"], limit["to_cents"]
        for pin in self.scene["pins"]:
            bounds[pin["string"], tuple(pin.get("changes", ()))] = pin["cents"] - 1e-9, pin["cents"] + 1e-9
        rows, goal = matrix * scale[:, None], wanted * scale
        box = [bounds[point] for point in self.columns]
        if objective.of_worst:
            sides = np.block([[rows, -np.ones((len(goal), 1))], [-rows, -np.ones((len(goal), 1))]])
            cost = np.append(np.zeros(len(box)), 1.0)
            return linprog(cost, sides, np.concatenate([goal, -goal]), bounds=[*box, (0, None)]).fun
        found = lsq_linear(rows, goal, np.array(box).T, tol=1e-14)
        return np.sqrt(2 * found.cost / squares.sum())


@pytest.mark.parametrize("stiff", [False, True])
@pytest.mark.parametrize("objective", Objective)
@pytest.mark.parametrize("name", SCENES)
def test_a_solver_that_reads_the_files_itself_agrees(name, objective, stiff):
    """All is worked out anew from gauges, roles and drops; only scipy is shared."""
    solved = temper(replace(scene(name), stiff=stiff), objective)

    assert solved.residual < 1e-8
    assert solved.value == pytest.approx(WrittenDown(name, stiff).solved(objective), rel=1e-6)


class Strings:
    """Strings that sound by frequencies and Fletcher's law, tuned by beats and nothing else."""

    def __init__(self, rig, drop):
        self.rig, self.sag, self.hz = rig, drop, {}

    def partial_hz(self, string, number, state, fret, hz=None):
        point = self.rig.point(string, state)
        b = self.rig.string(string).stiffness * 2 ** ((fret - self.rig.raised_semitones(point)) / 6)
        sagged = (hz or self.hz[point]) * 2 ** (
            (self.sag.since_tuned(self.rig, string, state) / 100 + fret) / 12
        )
        return sagged * number * np.sqrt((1 + b * number**2) / (1 + b))

    def tune(self, step):
        """Turn the string until the stated pair beats at the stated rate."""
        p, q = step.partials
        own, other = (q, p) if step.tune_is_high else (p, q)
        if isinstance(step.against, Reference):
            heard = other * step.against.hz
        else:
            heard = self.partial_hz(step.against.string, other, step.state, step.fret)
        heard += step.beats_per_second * (1 if step.tune_is_high else -1)
        self.hz[step.tune] = heard / self.partial_hz(step.tune.string, own, step.state, step.fret, hz=1.0)

    def beats(self, interval, state):
        low, high = interval.low.string, interval.high.string
        p, q = interval.ratio.upper, interval.ratio.lower
        return self.partial_hz(high, q, state, interval.fret) - self.partial_hz(low, p, state, interval.fret)


@pytest.mark.parametrize("stiff", [False, True])
@pytest.mark.parametrize("objective", [Objective.BEATS, Objective.WORST_CENTS])
@pytest.mark.parametrize("name", SCENES)
def test_strings_tuned_by_the_plan_beat_as_tempering_promised(name, objective, stiff):
    """In every grip at every fret that matters, each pair by which one could tune."""
    asked = replace(scene(name), stiff=stiff)
    solved = temper(asked, objective)
    plan = tuning_order(
        asked.instrument, solved.temperament("mine"), asked.drop, asked.reference_hz,
        points=asked.points(), stiff=stiff, played=[wanted.state for wanted in asked.grips],
    )  # fmt: skip
    strings = Strings(asked.instrument, asked.drop)
    if not stiff:
        limp = tuple(replace(string, stiffness=0.0) for string in asked.instrument.strings)
        strings.rig = replace(asked.instrument, strings=limp)
    for step in plan.steps:
        strings.tune(step)

    heard = frets = 0
    for grip in solved.grips():
        for each in grip.intervals:
            if not each.against and max(each.ratio.upper, each.ratio.lower) <= 8:
                sounds = strings.beats(each, grip.wanted.state)
                assert sounds == pytest.approx(each.after.beats_per_second, abs=1e-8)
                heard, frets = heard + 1, frets + (each.fret != max(grip.wanted.frets))
    assert heard > 30
    assert (frets > 30) == stiff  # on stiff strings each fret is promised by itself


@pytest.mark.parametrize("name", SCENES)
def test_a_step_of_the_plan_beats_as_the_table_says(name):
    """Where a step is an interval of a grip, in its state and at its fret."""
    asked = scene(name)
    solved = temper(asked)
    promised = {
        (grip.wanted.state.changes, each.fret, each.low.string, each.high.string): each.after.beats_per_second
        for grip in solved.grips()
        for each in grip.intervals
        if not each.against
    }
    met = 0
    for fret in (0.0, 3.0, 5.0, 8.0):
        plan = tuning_order(
            asked.instrument, solved.temperament("mine"), asked.drop, asked.reference_hz,
            points=asked.points(), frets=[fret], played=[wanted.state for wanted in asked.grips],
        )  # fmt: skip
        for step in plan.steps:
            if isinstance(step.against, Reference):
                continue
            pair = (step.against.string, step.tune.string)
            place = (step.state.changes, step.fret, *(pair if step.tune_is_high else pair[::-1]))
            if place in promised and step.multiple == 1:
                assert step.beats_per_second == pytest.approx(promised[place], abs=1e-9), place
                met += 1
    assert met >= 8


B_LOW, B_HIGH = 1e-4, 4e-5


def third_at_two_frets(**how):
    """E4 over C4, B given: at the twelfth fret both strings are four times as stiff."""
    rig = Instrument("third", "", (String(1, 64, B_HIGH), String(2, 60, B_LOW)))
    grips = (rigs.wanted(rig, "C", {2: "1:1", 1: "5:4"}, frets=(0.0, 12.0), **how),)
    return Scene("third", rig, grips, pins=(Pin(TuningPoint(2), 0.0),))


def just_by_hand(fret):
    """Where partial 5 of the low string meets partial 4 of the high one, as an offset of the high one."""
    low, high = B_LOW * 2 ** (fret / 6), B_HIGH * 2 ** (fret / 6)
    return Ratio(5, 4).cents - 400 + sharp_cents(5, low) - sharp_cents(4, high)


@pytest.mark.parametrize(
    ("objective", "share"),
    # Beats at fret 12 are twice as fast: their squares count four times, the worst is a third of the way.
    # There the slope is by the partials themselves, which stiffness raises a little more.
    [
        (Objective.CENTS, 1 / 2),
        (Objective.WORST_CENTS, 1 / 2),
        (Objective.BEATS, 4 / 5),
        (Objective.WORST_BEATS, 2 / 3),
    ],
)
def test_between_two_frets_by_hand(objective, share):
    at_rest, barred = just_by_hand(0), just_by_hand(12)
    assert barred - at_rest == pytest.approx(4.64, abs=0.05)
    solved = temper(third_at_two_frets(), objective)

    found = (solved.offsets_cents[TuningPoint(1)] - at_rest) / (barred - at_rest)
    assert found == pytest.approx(share, abs=1e-6 if not objective.in_beats else 2e-3)
    errors = [each.after.cents_from_just for each in solved.grips()[0].intervals]
    assert errors == pytest.approx([share * (barred - at_rest), (share - 1) * (barred - at_rest)], abs=0.01)


def test_limits_of_a_grip_that_two_frets_cannot_both_keep():
    with pytest.raises(BadValue, match=r"of 5:4 in C, fret 0; .* of 5:4 in C, fret 12"):
        temper(third_at_two_frets(within_cents=2.0))
    solved = temper(third_at_two_frets(within_cents=2.5))
    assert max(abs(each.after.cents_from_just) for each in solved.grips()[0].intervals) <= 2.5 + 1e-6


@pytest.mark.parametrize(
    ("objective", "by_cents", "frets"),
    # Equal temperament is 12.1 cents wide open and 7.5 at fret 12, where a cent beats twice as fast.
    [
        (Objective.CENTS, False, (12.0, 12.0)),  # 2.3 cents off either way
        (Objective.BEATS, False, (12.0, 0.0)),  # 3.7 cents off open, 0.9 at fret 12
        (Objective.BEATS, True, (0.0, 0.0)),
    ],
)
def test_each_side_of_a_pair_is_told_where_it_is_worst(objective, by_cents, frets):
    (grip,) = temper(third_at_two_frets(), objective).grips()
    ((was, now),) = grip.pairs(by_cents)

    assert (was.fret, now.fret) == frets


def test_what_a_grip_wants_counts_each_pair_alike_however_many_equations_it_has():
    """A string that is hardly stiff at all, with an equation for each fret, and one that is not, with one."""

    def wishes(b):
        rig = Instrument("three", "", (String(1, 67, b), String(2, 60, b), String(3, 48, 3e-4)))
        grips = (
            rigs.wanted(rig, "all", {3: "1:1", 2: "2:1", 1: "3:1"}, frets=(0.0, 12.0)),
            rigs.wanted(rig, "two", {2: "1:1", 1: "3:2"}),
        )
        pins = (Pin(TuningPoint(2), 0.0), Pin(TuningPoint(3), 20.0))
        (found,) = (
            each
            for each in temper(Scene("three", rig, grips, pins=pins)).contradictions()
            if each.point == TuningPoint(1)
        )
        return dict(zip(found.names, found.wanted_cents, strict=True))

    assert wishes(1e-13) == pytest.approx(wishes(0.0), abs=1e-6)


@pytest.mark.parametrize("objective", [Objective.BEATS, Objective.WORST_BEATS])
def test_minor_sixths_beat_half_as_fast_as_when_they_are_tempered_by_ratios(objective):
    """On the same stiff strings, at every fret; and the pairs that are heard best do not pay for it."""
    asked = scene("e9-dance-band")
    by_ratios, by_partials = (temper(replace(asked, stiff=stiff), objective) for stiff in (False, True))

    def rms(tuned, ratios):
        heard = replace(by_partials, offsets=tuned.offsets).grips()
        beats = [
            each.after.beats_per_second
            for grip in heard
            for each in grip.intervals
            if not each.against and ratios(each.ratio)
        ]
        return np.sqrt(np.mean(np.square(beats)))

    sixths = [rms(tuned, lambda ratio: ratio == Ratio(8, 5)) for tuned in (by_ratios, by_partials)]
    best_heard = [rms(tuned, lambda ratio: ratio.upper <= 6) for tuned in (by_ratios, by_partials)]
    assert sixths[1] < 0.55 * sixths[0]
    assert best_heard[1] < 1.1 * best_heard[0]
