"""Tempering from a page: the scene that is asked, and what was found, with the trade-off beside it.

What is asked is part of the setting and is undone with it. What was found is an offer: it sounds only once it
is kept, as one step that can be taken back.
"""

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from msgspec import Struct

from tonegen.errors import BadValue, TonegenError
from tonegen.instrument import Instrument
from tonegen.page import shelf
from tonegen.page.setting import Setting
from tonegen.pitch import note_name
from tonegen.presets.scenes import scene as load_scene
from tonegen.setup.rig import Rig
from tonegen.setup.setting import MovedPoint, Record, SavedGrip
from tonegen.tempering.scene import BandPart, Pin, Scene, WantedGrip
from tonegen.words import rate_and_side, signed, stiffness_not_known

if TYPE_CHECKING:
    from tonegen.tempering.purity import GripPurity, IntervalPurity
    from tonegen.tempering.temper import Tempered
    from tonegen.tempering.tradeoff import Front

OBJECTIVES = {
    "beats": "slowest beats overall",
    "cents": "purest intervals overall",
    "worst-beats": "slowest worst beat",
    "worst-cents": "purest worst interval",
}
OWN_SCENE = "the instrument's grips"


class IntervalOffer(Struct, frozen=True):
    """One interval before and after."""

    names: str
    ratio: str
    before: str
    after: str
    before_beats: float
    after_beats: float


class GripOffer(Struct, frozen=True):
    """One grip before and after; `before` and `after` are of its worst interval, `better` compares them."""

    name: str
    before: str
    after: str
    better: bool
    intervals: tuple[IntervalOffer, ...]


class FrontMark(Struct, frozen=True):
    """A place on the trade-off: across against the band, up against itself, 0 to 1, and in words."""

    across: float
    up: float
    words: str


class PointOffer(Struct, frozen=True):
    """A tuning point that moves."""

    point: str
    before: str
    after: str


class Offer(Struct, tag="offer", frozen=True):
    """What tempering found, or nothing. `chosen` is the place on the trade-off that is shown."""

    found: bool
    summary: str = ""
    grips: tuple[GripOffer, ...] = ()
    points: tuple[PointOffer, ...] = ()
    notes: tuple[str, ...] = ()
    front: tuple[FrontMark, ...] = ()
    across: str = ""
    up: str = ""
    chosen: int = -1


class WantedView(Struct, frozen=True):
    """A grip that can be asked for, and how much it matters; 0 leaves it out."""

    name: str
    weight: float


class WantedScene(Record, tag="asked", frozen=True):
    """What tempering is asked."""

    scene: str
    scene_title: str
    band: str
    objective: str
    objectives: Mapping[str, str]
    wanted: tuple[WantedView, ...]
    pins: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """A solution with its trade-off, worked out in a thread of its own."""

    solved: "Tempered"
    front: "Front | None"

    def offsets(self, chosen: int) -> tuple[float, ...]:
        """The offsets at a place of the trade-off; of the solution itself for -1."""
        if chosen < 0 or self.front is None:
            return tuple(map(float, self.solved.offsets))
        return self.front.points[chosen].offsets_cents

    def checked_place(self, place: int) -> int:
        """A place of the trade-off. Raises BadValue when there is none there."""
        if place >= (len(self.front.points) if self.front else 0):
            raise BadValue(f"the trade-off has no place {place}")
        return place


def scene_of(setting: Setting, rig: Rig) -> Scene:
    """The scene that is asked: the chosen one with the player's weights and pins, on the rig as it is.

    Raises BadValue where it does not fit the instrument, or no grip is left in it.
    """
    base = load_scene(setting.scene) if setting.scene else None
    if base is not None and base.instrument.name != rig.instrument.name:
        raise BadValue(f"scene {base.name} is for {base.instrument.name}; choose that instrument")
    weights = dict(setting.weights)
    grips = [
        replace(wanted, weight=weight)
        for wanted in _available(base, setting, rig.instrument)
        if (weight := weights.get(wanted.grip.name, wanted.weight if base else 0.0)) > 0
    ]
    if not grips:
        raise BadValue("choose at least one grip")
    pins = tuple(Pin(pin.point, pin.offset_cents) for pin in setting.pins)
    band: tuple[BandPart, ...] = ()
    limits = base.limits if base else ()
    if base is not None:
        names = {wanted.grip.name for wanted in grips}
        band = tuple(
            replace(part, grips=tuple(name for name in part.grips if name in names))
            for part in base.band
            if not part.grips or names & set(part.grips)
        )
    return Scene(
        base.name if base else "page",
        rig.instrument,
        tuple(grips),
        drop=rig.drop,
        reference_hz=rig.reference_hz,
        pins=pins,
        limits=limits,
        band=band,
        pull=base.pull if base else 0.0,
        before=rig.temperament,
        title=base.title if base else OWN_SCENE,
    )


def with_scene(setting: Setting, name: str) -> Setting:
    """The setting with a scene taken: its grips, weights and pins; none for the instrument's own grips."""
    from msgspec.structs import replace as replaced

    if not name:
        return replaced(setting, scene="", weights={}, pins=())
    base = load_scene(name)
    pins = tuple(MovedPoint.of(pin.point, pin.cents) for pin in base.pins)
    return replaced(setting, scene=name, weights={}, pins=pins)


def checked_grip(name: str, setting: Setting, rig: Rig) -> str:
    """The name of a grip that can be asked for. Raises BadValue for any other."""
    base = load_scene(setting.scene) if setting.scene else None
    if name not in [wanted.grip.name for wanted in _available(base, setting, rig.instrument)]:
        raise BadValue(f'there is no grip "{name[:60]}" to weigh')
    return name


def differs(one: Setting, other: Setting) -> bool:
    """Whether two settings ask for something else, or of another instrument."""

    def asked(setting: Setting) -> tuple[object, ...]:
        return (
            setting.instrument, setting.grips, setting.scene, setting.weights, setting.pins, setting.objective
        )  # fmt: skip

    return asked(one) != asked(other)


def asked_of(setting: Setting, rig: Rig) -> WantedScene:
    """What is asked, as pages show it."""
    try:
        base = shelf.take("scenes", setting.scene) if setting.scene else None
        title = base.title if base else OWN_SCENE
    except TonegenError as error:
        base, title = None, str(error)
    weights = dict(setting.weights)
    return WantedScene(
        scene=setting.scene,
        scene_title=title,
        band=", ".join(part.name for part in base.band) if base else "",
        objective=setting.objective,
        objectives=OBJECTIVES,
        wanted=tuple(
            WantedView(name, weights.get(name, wanted.weight if base else 0.0))
            for wanted in _available(base, setting, rig.instrument)
            for name in [wanted.grip.name]
        ),
        pins=tuple(f"{pin.point} at {signed(pin.offset_cents, 1)}" for pin in setting.pins),
    )


def solve(scene: Scene, objective: str) -> Found:
    """Find the offsets, and the trade-off where there is a band. Raises BadValue for pins that conflict."""
    from tonegen.tempering.temper import Objective, temper
    from tonegen.tempering.tradeoff import front_of

    goal = Objective(objective)
    return Found(temper(scene, goal), front_of(scene, goal) if scene.band else None)


def offer_of(found: Found | None, chosen: int) -> Offer:
    """What was found, in the words and numbers of the page."""
    if found is None:
        return Offer(False)
    import numpy as np

    from tonegen.tempering.purity import purity_of
    from tonegen.tempering.temper import offsets_before

    solved = found.solved
    demands, instrument = solved.demands, solved.scene.instrument
    before, after = offsets_before(demands), np.array(found.offsets(chosen))
    kind = "at worst" if solved.objective.of_worst else "on average (rms)"
    notes = [
        *(f"Limited by {bound.what}" for bound in solved.binding),
        *(f"Conflict: {each}" for each in solved.contradictions()),
        *(str(each) for each in solved.undetermined()),
        *stiffness_notes(solved.scene),
    ]
    return Offer(
        True,
        f"{solved.value:.2f} {solved.objective.unit} {kind}: proven, no offsets do better",
        tuple(
            _grip_offer(grip, instrument, by_cents=not solved.objective.in_beats)
            for grip in purity_of(demands, before, after)
        ),
        tuple(
            PointOffer(str(point), signed(was, 1), signed(will, 1))
            for point, was, will in zip(demands.points, before, after, strict=True)
            if abs(was - will) >= 0.05
        ),
        tuple(notes),
        *_front_marks(found.front, solved.objective.unit),
        chosen,
    )


def stiffness_notes(scene: Scene) -> tuple[str, ...]:
    """What the beats of a scene's grips reckon with, and of which strings nobody told the wire."""
    unknown = scene.unknown_wire
    return (
        "With the strings' own stiffness, as in the order; the timbre string lets you see and hear it",
        *((stiffness_not_known(unknown, "the beats leave it out"),) if unknown else ()),
    )


def moved_to(found: Found, chosen: int, setting: Setting) -> tuple[MovedPoint, ...]:
    """The moved points once what is offered is kept: points in no grip stay as they are.

    Raises BadValue where it was found for another instrument than that of the setting.
    """
    found_for = found.solved.scene.instrument.name
    if found_for != setting.instrument:
        raise BadValue(f"these offsets were found for {found_for}; choose that instrument, or temper again")
    asked, offsets = found.solved.moved_cents, found.offsets(chosen)
    offered = tuple(
        MovedPoint.of(point, cents)
        for point, cents in zip(found.solved.demands.points, offsets, strict=True)
        if point in asked
    )
    return (*(one for one in setting.moved if one.point not in asked), *offered)


def _available(base: Scene | None, setting: Setting, instrument: Instrument) -> Iterable[WantedGrip]:
    """Grips of the scene, then the player's own, then those of the instrument, each name once."""
    names = set()
    own = [wanted for grip in setting.grips for wanted in _fitting(grip, instrument)]
    shipped = [WantedGrip(grip, instrument.state(grip.changes)) for grip in instrument.grips]
    for wanted in (*(base.grips if base else ()), *own, *shipped):
        if wanted.grip.name not in names:
            names.add(wanted.grip.name)
            in_scene = base is not None and wanted in base.grips
            yield wanted if in_scene else replace(wanted, weight=0.0)


def _fitting(grip: SavedGrip, instrument: Instrument) -> Iterable[WantedGrip]:
    """A grip that the player saved, unless the instrument has lost a string or a change of it."""
    with suppress(BadValue):
        state = instrument.state(grip.travels)
        yield WantedGrip(replace(instrument.grip_of(grip.strings, state), name=grip.name), state)


def _grip_offer(grip: "GripPurity", instrument: Instrument, by_cents: bool) -> GripOffer:
    from tonegen.tempering.purity import worst_of

    before = worst_of(grip.intervals, lambda each: each.before, by_cents).before
    after = worst_of(grip.intervals, lambda each: each.after, by_cents).after
    figures = (after.cents_from_just, before.cents_from_just)
    if not by_cents:
        figures = (after.beats_per_second, before.beats_per_second)
    return GripOffer(
        grip.wanted.grip.name,
        rate_and_side(before.beats_per_second),
        rate_and_side(after.beats_per_second),
        abs(figures[0]) < abs(figures[1]),
        tuple(_interval_offer(grip, *pair, instrument) for pair in grip.pairs(by_cents)),
    )


def _interval_offer(
    grip: "GripPurity", was: "IntervalPurity", now: "IntervalPurity", instrument: Instrument
) -> IntervalOffer:
    before, after = was.before.beats_per_second, now.after.beats_per_second
    return IntervalOffer(
        names_of(grip, was, now, instrument),
        f"{now.ratio} {now.ratio.name}".rstrip(),
        rate_and_side(before),
        rate_and_side(after),
        before,
        after,
    )


def names_of(grip: "GripPurity", was: "IntervalPurity", now: "IntervalPurity", instrument: Instrument) -> str:
    """The two notes of a pair, the part of the band that one may be, and and its frets where they tell."""
    from tonegen.tempering.purity import at_frets

    low, high = (note_name(voice.key(now.fret), instrument.flats) for voice in (now.low, now.high))
    elsewhere = not now.against and {was.fret, now.fret} != {max(grip.wanted.frets)}
    return (
        f"{low}–{high}{f' with {now.against}' if now.against else ''}"
        f"{f', {at_frets(was, now)}' if elsewhere else ''}"
    )


def _front_marks(front: "Front | None", unit: str) -> tuple[tuple[FrontMark, ...], str, str]:
    if front is None or len(front.points) < 2:
        return (), "", ""
    across = [point.band_error for point in front.points]
    up = [point.self_error for point in front.points]

    def placed(value: float, values: list[float]) -> float:
        width = max(values) - min(values)
        return (value - min(values)) / width if width else 0.0

    marks = tuple(
        FrontMark(
            placed(point.band_error, across),
            placed(point.self_error, up),
            f"with the band {point.band_error:.2f}, with itself {point.self_error:.2f} {unit}",
        )
        for point in front.points
    )
    return (
        marks,
        f"the steel with the band, {min(across):.2f} to {max(across):.2f} {unit}",
        f"the steel with itself, {min(up):.2f} to {max(up):.2f} {unit}",
    )
