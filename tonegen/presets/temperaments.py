"""Temperament presets from TOML: fifths with fractions of a comma, ratios, cents, or the player's own."""

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Annotated

from msgspec import Meta, Struct

from tonegen.errors import BadValue
from tonegen.instrument import TuningPoint
from tonegen.interval import Ratio
from tonegen.pitch import checked_reference_hz
from tonegen.presets.files import Cents, Fields, beside, is_in_library, locate, named, read
from tonegen.temperament import (
    COMMAS,
    Context,
    OwnTemperament,
    PitchClassTemperament,
    Temperament,
    offsets_along_fifths,
    offsets_from_ratios,
    offsets_on_paper,
    parse_fifth,
)


class PointFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[points]] of the player's own temperament; not `asked` is one that tempering left as it was.

    travel : of a half-stop, less than 1, with the one change that has it.
    """

    string: int
    changes: list[str] = []
    travel: Annotated[float, Meta(gt=0, le=1)] = 1.0
    offset_cents: Cents
    asked: bool = True


class TemperamentFields(Fields, kw_only=True):
    """presets/temperaments/: one of fifths, ratios, cents and points, with what goes with it.

    cents : twelve offsets from equal temperament, C to B, as they stand on paper.
    drop, reference_hz, scene : what the points were made with; commands use it unless told otherwise.
    """

    comma: str | None = None
    fifths: dict[str, str] | None = None
    closing_fifth: str | None = None
    ratios: list[str] | None = None
    cents: list[Cents] | None = None
    instrument: str | None = None
    points: list[PointFields] | None = None
    drop: str | None = None
    reference_hz: float | None = None
    scene: str | None = None


def temperament(name: str) -> Temperament:
    """The temperament of that name or file; a pitch-class temperament is built on C."""
    path = locate("temperaments", name)
    if is_in_library(path):
        from tonegen.presets import tunings

        return tunings.temperament_of(tunings.tuning(name, path))
    return temperament_from(read(path, TemperamentFields), path)


def temperament_from(fields: TemperamentFields, path: Path) -> Temperament:
    """A temperament from its checked fields. Raises BadPreset naming the field that does not fit."""
    with named(path, "file"):
        if [fields.fifths, fields.ratios, fields.cents, fields.points].count(None) != 3:
            raise BadValue("give exactly one of: fifths, ratios, cents, points")
    if fields.points is not None:
        with named(path, "points"):
            offsets_cents = _offsets(fields.points)
        not_asked = frozenset(_point(each) for each in fields.points if not each.asked)
        with named(path, "instrument"):
            instrument_name = _instrument(fields)
        context = _context(fields, path)
        return OwnTemperament(path.stem, instrument_name, offsets_cents, fields.title, context, not_asked)
    with named(path, "file"):
        if (fields.drop, fields.reference_hz, fields.scene) != (None, None, None):
            raise BadValue("drop, reference_hz and scene go with points")
    if fields.ratios is not None:
        with named(path, "ratios"):
            offsets = offsets_from_ratios([Ratio.parse(text) for text in fields.ratios])
    elif fields.cents is not None:
        with named(path, "cents"):
            offsets = offsets_on_paper(fields.cents)
    else:
        with named(path, "fifths"):
            offsets = _along_fifths(fields, fields.fifths or {})
    return PitchClassTemperament(path.stem, offsets, 0, fields.title)


def _along_fifths(fields: TemperamentFields, fifths: Mapping[str, str]) -> tuple[float, ...]:
    if fields.comma is None:
        raise BadValue(f"name the comma that the fractions are of: {', '.join(COMMAS)}")
    if fields.closing_fifth is None:
        raise BadValue('name the closing_fifth, which takes what is left, such as "G#-Eb"')
    tempering: dict[int, Fraction] = {}
    for text, fraction in fifths.items():
        place = parse_fifth(text)
        if place in tempering:
            raise BadValue(f"{text} is listed twice, under two names")
        tempering[place] = _fraction(fraction)
    return offsets_along_fifths(fields.comma, tempering, parse_fifth(fields.closing_fifth))


def _fraction(text: str) -> Fraction:
    try:
        fraction = Fraction(text) if len(text) < 20 else None
    except (ValueError, ZeroDivisionError):
        fraction = None
    if fraction is None or abs(fraction) > 1:
        raise BadValue(f'"{text}" is not a fraction of a comma; write one such as "-1/4"')
    return fraction


def _instrument(fields: TemperamentFields) -> str:
    if not fields.instrument:
        raise BadValue("name the instrument that the points belong to")
    return fields.instrument


def _context(fields: TemperamentFields, path: Path) -> Context:
    with named(path, "reference_hz"):
        if fields.reference_hz is not None:
            checked_reference_hz(fields.reference_hz)
    drop, scene = (None if name is None else beside(path, name) for name in (fields.drop, fields.scene))
    return Context(drop, fields.reference_hz, scene)


def _point(fields: PointFields) -> TuningPoint:
    if fields.travel != 1 and len(fields.changes) != 1:
        raise BadValue(
            f"string {fields.string}: travel is that of one change at its half-stop; name just that"
        )
    return TuningPoint(fields.string, tuple(fields.changes), fields.travel)


def _offsets(points: list[PointFields]) -> dict[TuningPoint, float]:
    offsets: dict[TuningPoint, float] = {}
    seen = set()
    for fields in points:
        point = _point(fields)
        if (stop := (point.string, frozenset(point.changes), point.travel)) in seen:
            raise BadValue(f"{point} is listed twice")
        seen.add(stop)
        offsets[point] = fields.offset_cents
    return offsets
