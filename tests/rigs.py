"""Invented instruments and scenes for the tests of tempering."""

from dataclasses import replace
from fractions import Fraction

import numpy as np

from tonegen.drop import NO_DROP, Drop
from tonegen.instrument import Change, Grip, HalfStop, Instrument, String, TuningPoint
from tonegen.interval import Ratio
from tonegen.tempering.scene import BandPart, Limit, Pin, Scene, WantedGrip


def strings(*keys: int) -> tuple[String, ...]:
    return tuple(String(number, key) for number, key in enumerate(keys, start=1))


def wanted(instrument: Instrument, name: str, ratios: dict[int, str], travels=(), **how) -> WantedGrip:
    """A grip from the ratio of each string above the root."""
    state = instrument.state(travels)
    degrees = tuple(Ratio.parse(ratio) for ratio in ratios.values())
    grip = Grip(name, tuple(ratios), state.changes, "", tuple(map(str, degrees)), degrees)
    return WantedGrip(grip, state, **how)


def chain_of_equal_fifths(*thirds: str) -> Scene:
    """One string that a lever takes up four fifths: a quarter of its travel is a fifth, all of it a third.

    So its one unknown is what four equal fifths together lack of a pure third: the meantones' own problem,
    with a sixth below the octave for the minor third.
    """
    rig = Instrument("chain", "", strings(48, 48), (Change("M", {1: 28}),))
    grips = [wanted(rig, "fifth", {2: "1:1", 1: "3:2"}, {"M": 0.25})]
    if "major" in thirds:
        grips.append(wanted(rig, "major third", {2: "1:1", 1: "5:4"}, {"M": 1.0}))
    if "minor" in thirds:
        grips.append(wanted(rig, "major sixth", {2: "1:1", 1: "5:3"}, {"M": 0.75}))
    if "no fifth" in thirds:
        grips = grips[1:]
    pins = (Pin(TuningPoint(1), 0.0), Pin(TuningPoint(2), 0.0))
    return Scene("chain", rig, tuple(grips), NO_DROP, pins=pins)


def large_scene(grips: int, seed: int = 1, string_count: int = 12, change_count: int = 12) -> Scene:
    """An invented instrument of many strings and changes, with grips in many states."""
    draw = np.random.default_rng(seed)
    keys = np.sort(draw.choice(np.arange(40, 70), string_count, replace=False))[::-1]
    changes = tuple(
        Change(f"C{number}", {int(s): int(draw.choice([-2, -1, 1, 2])) for s in
                              draw.choice(np.arange(1, string_count + 1), 3, replace=False)})
        for number in range(change_count)
    )  # fmt: skip
    rig = Instrument("large", "", strings(*map(int, keys)), changes)
    cents = {
        change.name: {int(s): float(-draw.uniform(0, 3)) for s in range(1, string_count + 1)}
        for change in changes
    }
    chosen = []
    for number in range(grips):
        picked = sorted(map(int, draw.choice(np.arange(1, string_count + 1), 5, replace=False)))
        engaged = [changes[int(index)].name for index in draw.choice(change_count, 2, replace=False)]
        state = rig.state(engaged)
        grip = Grip(f"grip {number}", tuple(picked), state.changes)
        chosen.append(
            WantedGrip(grip, state, float(draw.uniform(0.5, 2)), (0.0, float(draw.integers(1, 13))))
        )
    return Scene("large", rig, tuple(chosen), Drop("invented", cents), pins=(Pin(TuningPoint(1), 0.0),))


def with_half_stops(instrument: Instrument, draw: np.random.Generator) -> Instrument:
    """The same, its changes stopping half-way at a note or two, or measured on their way, or straight."""

    def halves(semitones: int) -> tuple[HalfStop, ...]:
        if abs(semitones) < 2 or draw.random() < 0.3:
            return (HalfStop(0.6, 30.0 * semitones),) if draw.random() < 0.5 else ()
        towards = 1 if semitones > 0 else -1
        notes = range(1, abs(semitones)) if draw.random() < 0.7 else [1]
        return tuple(
            HalfStop(0.25 * number, 100.0 * towards * number + float(draw.uniform(-20, 20)), towards * number)
            for number in notes
        )

    changes = tuple(
        replace(change, half_stops={string: halves(moved) for string, moved in change.semitones.items()})
        for change in instrument.changes
    )
    return replace(instrument, changes=changes)


def syntonic_commas(fraction: str) -> float:
    """A fraction of the syntonic comma in cents."""
    return float(Fraction(fraction)) * Ratio(81, 80).cents


def any_scene(seed: int) -> Scene:
    """An invented scene of any kind: weights over six decades, pins, limits, a band, a pull, or none."""
    draw = np.random.default_rng(seed)
    base = large_scene(int(draw.integers(1, 40)), seed, int(draw.integers(5, 13)), int(draw.integers(2, 6)))
    grips = tuple(
        replace(
            wanted,
            weight=float(10 ** draw.uniform(-3, 3)),
            within_cents=float(draw.uniform(20, 60)) if draw.random() < 0.05 else None,
        )
        for wanted in base.grips
    )
    points = base.points()
    pins = tuple(Pin(point, float(draw.choice([0, 3, -5.5]))) for point in points if draw.random() < 0.1)
    limits = tuple(
        Limit(point, -float(draw.choice([5, 15, 40])), float(draw.choice([5, 15, 40])))
        for point in points
        if draw.random() < 0.6
    )
    played = sorted({string for wanted in grips for string in wanted.grip.strings})[:2]
    keys = BandPart("keys", False, float(10 ** draw.uniform(-2, 2)), strings=tuple(played))
    band = (keys,) if draw.random() < 0.5 else ()
    pull = float(draw.choice([0, 0, 0.01, 1]))
    if draw.random() < 0.5:
        stiff = tuple(
            replace(string, stiffness=draw.choice([None, 10 ** draw.uniform(-6, -3)]))
            for string in base.instrument.strings
        )
        base = replace(base, instrument=replace(base.instrument, strings=stiff))
    return replace(base, grips=grips, pins=pins, limits=limits, band=band, pull=pull)
