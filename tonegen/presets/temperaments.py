"""Temperament presets from TOML: fifths tempered by fractions of a comma, ratios, or the player's own."""

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

from msgspec import Struct

from tonegen.errors import BadValue
from tonegen.instrument import TuningPoint
from tonegen.interval import Ratio
from tonegen.presets.files import Cents, Fields, locate, named, read
from tonegen.temperament import (
    COMMAS,
    OwnTemperament,
    PitchClassTemperament,
    Temperament,
    offsets_along_fifths,
    offsets_from_ratios,
    parse_fifth,
)


class PointFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[points]] of the player's own temperament."""

    string: int
    changes: list[str] = []
    offset_cents: Cents


class TemperamentFields(Fields, kw_only=True):
    """presets/temperaments/: one of fifths, ratios and points, with what goes with it."""

    comma: str | None = None
    fifths: dict[str, str] | None = None
    closing_fifth: str | None = None
    ratios: list[str] | None = None
    instrument: str | None = None
    points: list[PointFields] | None = None


def temperament(name: str) -> Temperament:
    """The temperament of that name or file; a pitch-class temperament is built on C."""
    path = locate("temperaments", name)
    return temperament_from(read(path, TemperamentFields), path)


def temperament_from(fields: TemperamentFields, path: Path) -> Temperament:
    """A temperament from its checked fields. Raises BadPreset naming the field that does not fit."""
    with named(path, "file"):
        if [fields.fifths, fields.ratios, fields.points].count(None) != 2:
            raise BadValue("give exactly one of: fifths, ratios, points")
    if fields.points is not None:
        with named(path, "points"):
            return OwnTemperament(path.stem, _instrument(fields), _offsets(fields.points), fields.title)
    if fields.ratios is not None:
        with named(path, "ratios"):
            offsets = offsets_from_ratios([Ratio.parse(text) for text in fields.ratios])
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


def _offsets(points: list[PointFields]) -> dict[TuningPoint, float]:
    offsets: dict[TuningPoint, float] = {}
    for fields in points:
        point = TuningPoint(fields.string, tuple(fields.changes))
        if point in offsets:
            raise BadValue(f"{point} is listed twice")
        offsets[point] = fields.offset_cents
    return offsets
