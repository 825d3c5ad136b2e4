"""Scenes from TOML: grips with their weights, pins, limits and the band, every name checked."""

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Final

from msgspec import Meta, Struct

from tonegen.errors import BadValue
from tonegen.instrument import DEGREES, Grip, Instrument, State
from tonegen.interval import Ratio
from tonegen.pitch import REFERENCE_HZ, checked_reference_hz, note_name, parse_note, parse_pitch_class
from tonegen.presets.drops import drop
from tonegen.presets.files import Cents, Fields, beside, by_string, is_file_name, locate, name_of, named, read
from tonegen.presets.instruments import GripFields, grip_from, instrument
from tonegen.presets.temperaments import temperament
from tonegen.temperament import Context, PitchClassTemperament, fitted
from tonegen.tempering.scene import BandPart, Limit, Scene, WantedGrip, checked_point, pin_of_reading

Weight = Annotated[float, Meta(gt=0, le=1000)]
_PLAYS: Final = ("root", "notes")


class WantedGripFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[grips]]: a saved grip of the instrument by name, or one of its own with root and roles.

    travels : changes that are only half engaged, each with its travel from 0 to 1.
    """

    name: str
    root: str | None = None
    roles: dict[str, str] | None = None
    ratios: dict[str, str] = {}
    strings: list[int] | None = None
    changes: list[str] | None = None
    travels: dict[str, float] = {}
    weight: Weight = 1.0
    frets: Annotated[tuple[float, ...], Meta(min_length=1)] = (0.0,)
    within_cents: Annotated[float, Meta(gt=0, le=1200)] | None = None


class PinFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[pins]]; travels : of changes that are only half engaged, as at a half-stop."""

    string: int
    changes: list[str] = []
    travels: dict[str, float] = {}
    cents: Cents


class LimitFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[limits]]; travels : as those of a pin."""

    string: int
    changes: list[str] = []
    travels: dict[str, float] = {}
    from_cents: Cents
    to_cents: Cents


class BandFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[band]]: plays "root" (a bass: the root of each grip) or "notes" (a keyboard: the same notes)."""

    name: str
    plays: str
    weight: Weight = 1.0
    temperament: str = "equal"
    temperament_root: str = "C"
    lowest: str = "E1"
    strings: list[int] = []
    grips: list[str] = []


class SceneFields(Fields, kw_only=True):
    """presets/scenes/. A file that it names by a relative path is looked for beside it."""

    instrument: str
    drop: str = "none"
    reference_hz: float = REFERENCE_HZ
    before: str = "equal"
    pull: Annotated[float, Meta(ge=0, le=1000)] = 0.0
    within_cents: Annotated[float, Meta(gt=0, le=1200)] | None = None
    grips: Annotated[list[WantedGripFields], Meta(min_length=1, max_length=5000)]
    pins: list[PinFields] = []
    limits: list[LimitFields] = []
    band: list[BandFields] = []


def scene(name: str) -> Scene:
    """The scene of that name or file."""
    path = locate("scenes", name)
    return scene_from(read(path, SceneFields), path)


def scene_from(
    fields: SceneFields, path: Path, noted: Callable[[], AbstractContextManager[None]] = nullcontext
) -> Scene:
    """A scene from its checked fields. Raises BadPreset naming the field that does not fit.

    noted : around each row that can be wrong, for who goes on after a fault; the scene is not whole then
    """
    with named(path, "reference_hz"):
        reference_hz = checked_reference_hz(fields.reference_hz)
    with named(path, "instrument"):
        chosen = instrument(beside(path, fields.instrument))
    with named(path, "drop"):
        sag = drop(beside(path, fields.drop)).checked_on(chosen)
    with named(path, "before"):
        before = fitted(temperament(beside(path, fields.before)), chosen)
    grips, pins, limits, band = [], [], [], []
    for index, grip in enumerate(fields.grips):
        with noted(), named(path, f"grips[{index}]"):
            grips.append(_wanted(grip, chosen))
    for index, pin in enumerate(fields.pins):
        with noted(), named(path, f"pins[{index}]"):
            state = _state(chosen, pin.changes, pin.travels)
            pins.append(pin_of_reading(chosen, sag, pin.string, state, pin.cents))
    for index, limit in enumerate(fields.limits):
        with noted(), named(path, f"limits[{index}]"):
            limits.append(_limit(limit, chosen))
    for index, part in enumerate(fields.band):
        with noted(), named(path, f"band[{index}]"):
            band.append(_part(part, chosen, path))
    with named(path, "scene"):
        found = Scene(
            name=path.stem,
            title=fields.title,
            instrument=chosen,
            grips=tuple(grips),
            drop=sag,
            reference_hz=reference_hz,
            pins=tuple(pins),
            limits=tuple(limits),
            band=tuple(band),
            pull=fields.pull,
            before=before,
            context=Context(_drop_name(beside(path, fields.drop)), reference_hz, name_of("scenes", path)),
        )
        if fields.within_cents is None:
            return found
        limited = {limit.point for limit in limits}
        edge = fields.within_cents
        around = (Limit(point, -edge, edge) for point in found.points() if point not in limited)
        return replace(found, limits=(*limits, *around))


def _drop_name(asked: str) -> str:
    """What the drop of a scene is found by from anywhere."""
    return str(Path(asked).resolve()) if is_file_name(asked) else asked


def _wanted(fields: WantedGripFields, chosen: Instrument) -> WantedGrip:
    grip, state = _grip(fields, chosen)
    frets = tuple(chosen.checked_fret(fret) for fret in fields.frets)
    return WantedGrip(grip, state, fields.weight, frets, fields.within_cents)


def _grip(fields: WantedGripFields, chosen: Instrument) -> tuple[Grip, State]:
    given = [fields.roles, fields.strings].count(None)
    if given == 0:
        raise BadValue("give roles or strings, not both")
    if given == 2:
        if fields.changes is not None or fields.travels:
            raise BadValue(
                f'"{fields.name}" is a saved grip with its own changes; give roles to make another'
            )
        saved = chosen.grip(fields.name)
        return saved, chosen.state(saved.changes)
    changes = fields.changes or []
    state = _state(chosen, changes, fields.travels)
    if fields.strings is not None:
        strings = chosen.grip_of(tuple(fields.strings), state).strings
        if len(strings) < 2:
            raise BadValue("a grip needs two strings or more")
        return Grip(fields.name, strings, state.changes), state
    if fields.root is None or fields.roles is None:
        raise BadValue('roles need the root of the chord, such as root = "E"')
    if len(fields.roles) < 2:
        raise BadValue("a grip needs two strings or more")
    if not fields.travels:
        own = GripFields(
            name=fields.name, changes=changes, root=fields.root, roles=fields.roles, ratios=fields.ratios
        )
        return grip_from(own, chosen), state
    return _half_engaged(fields, fields.root, fields.roles, chosen, state), state


def _state(chosen: Instrument, changes: list[str], travels: dict[str, float]) -> State:
    return chosen.state({**dict.fromkeys(changes, 1.0), **travels})


def _half_engaged(
    fields: WantedGripFields, root: str, roles: dict[str, str], chosen: Instrument, state: State
) -> Grip:
    """A grip with changes between rest and stop: each string must be nearest to what its role claims."""
    degrees = by_string(roles, len(chosen.strings))
    given = by_string(fields.ratios, len(chosen.strings))
    ratios = []
    for string, role in degrees.items():
        if role not in DEGREES:
            raise BadValue(f'roles: "{role}" is not a degree; write one of: {", ".join(DEGREES)}')
        ratio = Ratio.parse(given[string]) if string in given else DEGREES[role]
        above_open = chosen.cents_above_open(string, state, lambda _: 0.0)
        key = chosen.string(string).open_key + round(above_open / 100)
        if (key - parse_pitch_class(root)) % 12 != round(ratio.cents / 100) % 12:
            raise BadValue(
                f"roles: string {string} is nearest to {note_name(key, chosen.flats)} in this state, "
                f"which is not degree {role} ({ratio}) of {root}"
            )
        ratios.append(ratio)
    return Grip(fields.name, tuple(degrees), state.changes, root, tuple(degrees.values()), tuple(ratios))


def _limit(fields: LimitFields, chosen: Instrument) -> Limit:
    state = _state(chosen, fields.changes, fields.travels)
    point = checked_point(chosen, fields.string, state)
    return Limit(point, fields.from_cents, fields.to_cents)


def _part(fields: BandFields, chosen: Instrument, path: Path) -> BandPart:
    if fields.plays not in _PLAYS:
        raise BadValue(f'plays: "{fields.plays}" is not known; write "root" for a bass, "notes" for keys')
    chosen_temperament = temperament(beside(path, fields.temperament))
    if not isinstance(chosen_temperament, PitchClassTemperament):
        raise BadValue(
            f"temperament: {fields.temperament} belongs to an instrument; name one that goes by notes"
        )
    for string in fields.strings:
        chosen.string(string)
    return BandPart(
        fields.name,
        fields.plays == "root",
        fields.weight,
        chosen_temperament.on(parse_pitch_class(fields.temperament_root)),
        parse_note(fields.lowest),
        tuple(fields.strings),
        tuple(fields.grips),
    )
