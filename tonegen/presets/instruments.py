"""Instrument presets: strings, changes and grips from TOML, every name checked against the others."""

from collections.abc import Callable, Iterable, Mapping
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Final

from msgspec import Meta, Struct

from tonegen.body import HOLDS_ANYTHING, Body
from tonegen.errors import BadValue
from tonegen.instrument import DEGREES, Change, Grip, HalfStop, Instrument, Split, String
from tonegen.interval import Ratio
from tonegen.pitch import note_name, parse_note, parse_pitch_class
from tonegen.presets.files import Cents, Fields, Model, by_string, is_in_library, locate, named, read
from tonegen.wire import Wire, open_stiffness
from tonegen.words import signed

Semitones = Annotated[int, Meta(ge=-24, le=24)]
Gauge = Annotated[float, Meta(gt=0, le=0.2)]
NAME_OF_CHANGE: Final = "[A-Za-z][A-Za-z0-9]*"
_NEAREST_CENTS: Final = 50.0


class StringFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[strings]], from string 1, the highest course."""

    open: str
    gauge_inches: Gauge | None = None
    wound: bool = False
    core_inches: Gauge | None = None
    stiffness: float | None = None
    begins_at_fret: Annotated[int, Meta(ge=0, le=24)] = 0


class HalfStopFields(Struct, array_like=True, forbid_unknown_fields=True):
    """A half-stop: travel, measured cents above the open string, and the note that it stands for, if any."""

    travel: float
    cents: Cents
    note: str = ""


class ChangeFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[changes]]: moves in semitones by string; half_stops as [travel, cents] or [travel, cents, note]."""

    name: Annotated[str, Meta(pattern=f"^{NAME_OF_CHANGE}$", max_length=12)]
    place: str = ""
    moves: dict[str, Semitones]
    half_stops: dict[str, list[HalfStopFields]] = {}


class BodyFields(Struct, forbid_unknown_fields=True, kw_only=True, frozen=True):
    """[body]: pedals as they lie, levers of each knee; together: what one of them holds all the same."""

    foot: list[str] = []
    left_knee: list[str] = []
    right_knee: list[str] = []
    together: list[Annotated[list[str], Meta(min_length=2)]] = []


class SplitFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[splits]]: changes that together reach a note of their own."""

    changes: Annotated[list[str], Meta(min_length=2)]
    moves: dict[str, Semitones]


class GripFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[grips]]: roles by string; ratios, by string, where a degree stands for something unusual."""

    name: str
    changes: list[str] = []
    root: str
    roles: Annotated[dict[str, str], Meta(min_length=2)]
    ratios: dict[str, str] = {}


class InstrumentFields(Fields, kw_only=True):
    """presets/instruments/."""

    root: str
    strings: Annotated[list[StringFields], Meta(min_length=1, max_length=24)]
    scale_length_inches: Annotated[float, Meta(gt=0, le=100)] | None = None
    frets: Annotated[int, Meta(ge=0, le=48)] = 24
    flats: bool = False
    changes: Annotated[list[ChangeFields], Meta(max_length=24)] = []
    exclusive: list[list[str]] = []
    body: BodyFields = BodyFields()
    splits: list[SplitFields] = []
    grips: list[GripFields] = []


def instrument(name: str) -> Instrument:
    """The instrument of that name or file."""
    path = locate("instruments", name)
    if is_in_library(path):
        from tonegen.presets import tunings

        return tunings.instrument_of(tunings.tuning(name, path))
    return instrument_from(read(path, InstrumentFields), path)


def instrument_from(
    fields: InstrumentFields, path: Path, noted: Callable[[], AbstractContextManager[None]] = nullcontext
) -> Instrument:
    """An instrument from its checked fields. Raises BadPreset naming the field that does not fit.

    noted : around each thing that can be wrong, for who goes on after a fault; what hangs on it is then not
        looked at, and the instrument is not whole
    """
    strings = []
    for index, string in enumerate(fields.strings):
        with noted(), named(path, f"strings[{index}]"):
            strings.append(_string(index + 1, string, fields.scale_length_inches, path))
    changes: dict[str, Change] = {}
    if len(strings) == len(fields.strings):
        for index, change in enumerate(fields.changes):
            with noted(), named(path, f"changes[{index}]"):
                with named(path, f"changes[{index}].name"):
                    if change.name in changes:
                        raise BadValue(f'"{change.name}" is listed twice; give each change a name of its own')
                changes[change.name] = _change(change, tuple(strings), path, f"changes[{index}]")
    bare = Instrument(path.stem, fields.title, tuple(strings), tuple(changes.values()))
    if len(strings) < len(fields.strings) or len(changes) < len(fields.changes):
        return bare
    for index, group in enumerate(fields.exclusive):
        with noted(), named(path, f"exclusive[{index}]"):
            for name in group:
                bare.change(name)
    body = HOLDS_ANYTHING
    with noted():
        body = _body(fields.body, bare, path)
    splits = []
    for index, split in enumerate(fields.splits):
        with noted(), named(path, f"splits[{index}]"):
            splits.append(_split(split, bare, path, f"splits[{index}]"))
            with named(path, f"splits[{index}].changes"):
                _refuse_what_is_not_held(body, bare, split.changes)
    root = 0
    with noted(), named(path, "root"):
        root = parse_pitch_class(fields.root)
    whole = Instrument(
        name=bare.name,
        title=bare.title,
        strings=bare.strings,
        changes=bare.changes,
        splits=tuple(splits),
        exclusive=tuple(frozenset(group) for group in fields.exclusive),
        body=body,
        root=root,
        frets=fields.frets,
        flats=fields.flats,
        source=fields.source,
    )
    grips: dict[str, Grip] = {}
    for index, grip in enumerate(fields.grips):
        with noted(), named(path, f"grips[{index}]"):
            if grip.name in grips:
                raise BadValue(f'"{grip.name}" is listed twice; give each grip a name of its own')
            with named(path, f"grips[{index}].changes"):
                whole.state(grip.changes)
                _refuse_what_is_not_held(body, bare, grip.changes)
            grips[grip.name] = grip_from(grip, whole)
    return replace(whole, grips=tuple(grips.values()))


def grip_from(fields: GripFields, instrument: Instrument) -> Grip:
    """A grip from its checked fields. Raises BadValue when a string does not play what its role claims."""
    roles = by_string(fields.roles, len(instrument.strings))
    given = by_string(fields.ratios, len(instrument.strings))
    root = parse_pitch_class(fields.root)
    state = instrument.state(fields.changes)
    for string in given:
        if string not in roles:
            raise BadValue(f"ratios: string {string} has no role in this grip")
    ratios = []
    for string, role in roles.items():
        if role not in DEGREES:
            raise BadValue(f'roles: "{role}" is not a degree; write one of: {", ".join(DEGREES)}')
        ratio = Ratio.parse(given[string]) if string in given else DEGREES[role]
        point = instrument.point(string, state)
        if (instrument.key(point) - root) % 12 != round(ratio.cents / 100) % 12:
            raise BadValue(
                f"roles: string {string} plays {instrument.note(point)} in this state, "
                f"which is not degree {role} ({ratio}) of {fields.root}"
            )
        ratios.append(ratio)
    return Grip(fields.name, tuple(roles), state.changes, fields.root, tuple(roles.values()), tuple(ratios))


def _string(number: int, fields: StringFields, scale_length_inches: float | None, path: Path) -> String:
    with named(path, f"strings[{number - 1}].open"):
        key = parse_note(fields.open)
    if fields.core_inches is not None and fields.core_inches >= (fields.gauge_inches or 0):
        with named(path, f"strings[{number - 1}].core_inches"):
            raise BadValue("core_inches must be less than gauge_inches")
    wire = None
    if fields.gauge_inches is not None and scale_length_inches is not None:
        length_inches = scale_length_inches / 2 ** (fields.begins_at_fret / 12)
        wire = Wire(fields.gauge_inches, length_inches, fields.wound, fields.core_inches)
    stiffness = open_stiffness(wire, fields.stiffness, key)
    return String(number, key, stiffness, wire, fields.begins_at_fret)


def _change(fields: ChangeFields, strings: tuple[String, ...], path: Path, place: str) -> Change:
    semitones = _by_string(fields.moves, len(strings), path, f"{place}.moves")
    for string, by in semitones.items():
        with named(path, f"{place}.moves.{string}"):
            if not 0 <= strings[string - 1].open_key + by <= 127:
                raise BadValue(f"string {string} has no note so far away; notes go from C-1 to G9")
    half_stops: dict[int, tuple[HalfStop, ...]] = {}
    for string, stops in _by_string(fields.half_stops, len(strings), path, f"{place}.half_stops").items():
        with named(path, f"{place}.half_stops.{string}"):
            if string not in semitones:
                raise BadValue(f"string {string} is not among the moves of {fields.name}")
            travels = [0.0, *(each.travel for each in stops), 1.0]
            if not all(below < above for below, above in pairwise(travels)):
                raise BadValue("travels must rise between 0 and 1, such as [[0.5, -100]]")
            half_stops[string] = tuple(
                _half_stop(each, strings[string - 1], semitones[string]) for each in stops
            )
    return Change(fields.name, semitones, fields.place, half_stops)


def _by_string(values: Mapping[str, Model], count: int, path: Path, place: str) -> dict[int, Model]:
    """As `by_string`, with what is wrong said at the string that it is said of."""
    for text, value in values.items():
        with named(path, f"{place}.{text}"):
            by_string({text: value}, count)
    return by_string(values, count)


def _half_stop(fields: HalfStopFields, string: String, full_semitones: int) -> HalfStop:
    if not fields.note:
        return HalfStop(fields.travel, fields.cents)
    semitones = parse_note(fields.note) - string.open_key
    rest, stop = (note_name(key) for key in (string.open_key, string.open_key + full_semitones))
    if not 0 < semitones * (1 if full_semitones > 0 else -1) < abs(full_semitones):
        raise BadValue(f"string {string.number} passes no {fields.note} from {rest} to {stop}")
    if abs(fields.cents - 100 * semitones) > _NEAREST_CENTS:
        pure, read = signed(100 * semitones, None), signed(fields.cents, None)
        raise BadValue(
            f"{fields.note} is {pure} cents above string {string.number} open; "
            f"{read} is nearer to another note"
        )
    return HalfStop(fields.travel, fields.cents, semitones)


def _body(fields: BodyFields, bare: Instrument, path: Path) -> Body:
    limbs = {"foot": fields.foot, "left_knee": fields.left_knee, "right_knee": fields.right_knee}
    moved: list[str] = []
    for limb, changes in limbs.items():
        with named(path, f"body.{limb}"):
            for name in changes:
                bare.change(name)
                if name in moved:
                    raise BadValue(f'"{name}" is listed twice; a change is moved by the foot or by one knee')
                moved.append(name)
    for index, group in enumerate(fields.together):
        with named(path, f"body.together[{index}]"):
            for name in group:
                bare.change(name)
            if not any(set(group) <= set(changes) for changes in limbs.values()):
                raise BadValue(f"{'+'.join(group)} are not all of the foot, or of one knee")
            _refuse_one_way(bare, group, opposite=True)
    knees = tuple(tuple(changes) for changes in (fields.left_knee, fields.right_knee) if changes)
    return Body(tuple(fields.foot), knees, tuple(frozenset(group) for group in fields.together))


def _refuse_what_is_not_held(body: Body, bare: Instrument, changes: Iterable[str]) -> None:
    changes = tuple(changes)
    _refuse_one_way(bare, changes)
    if not body.holds(changes):
        raise BadValue(
            f"{'+'.join(changes)} cannot be held by [body]; if you can hold it, list it under together there"
        )


def _refuse_one_way(bare: Instrument, changes: Iterable[str], opposite: bool = False) -> None:
    """What is moved in one place is one change at once.

    opposite : of one knee, which does not go both ways; a lever with a lock may be left engaged
    """
    there: dict[str, str] = {}
    for name in changes:
        place = bare.change(name).place
        if place and place in there:
            raise BadValue(f"{there[place]} and {name} are both at {place}; only one of them is down at once")
        there[place] = name
    for knee in ("left knee", "right knee"):
        both = [
            there[place] for way in ("left", "right") for place in there if place.startswith(f"{knee} {way}")
        ]
        if opposite and len(both) > 1:
            raise BadValue(
                f"{both[0]} and {both[1]} are opposite ways of the {knee}; it goes one way at once"
            )


def _split(fields: SplitFields, bare: Instrument, path: Path, place: str) -> Split:
    semitones = _by_string(fields.moves, len(bare.strings), path, f"{place}.moves")
    for name in fields.changes:
        with named(path, f"{place}.changes"):
            change = bare.change(name)
        for string in semitones:
            with named(path, f"{place}.moves.{string}"):
                if string not in change.semitones:
                    raise BadValue(f"change {name} does not move string {string}")
    return Split(frozenset(fields.changes), semitones)
