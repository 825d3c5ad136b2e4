"""The library of tunings from TOML: a family a file, a few lines a tuning, every note checked."""

import re
from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Final, Literal

from msgspec import Meta, Struct

from tonegen.errors import BadPreset, BadValue
from tonegen.instrument import DEGREES, Grip, Instrument, String, TuningPoint
from tonegen.interval import Ratio
from tonegen.pitch import parse_note, parse_pitch_class, pitch_class_name
from tonegen.presets.files import LIBRARY, Fields, library_files, read
from tonegen.presets.rows import in_row, placed
from tonegen.temperament import OwnTemperament, PitchClassTemperament, Temperament, parse_fifth
from tonegen.tunings import rules
from tonegen.tunings.records import PublishedOffset, Rule, StoredTuning, TuningNote, WishedInterval
from tonegen.tunings.solve import solved

_OWN_KEY: Final = {
    Rule.SERIES: "partials", Rule.SCALE: "scale", Rule.VALVES: "valves", Rule.CIRCLE: "circle",
}  # fmt: skip
_TWO_NUMBERS: Final = re.compile(r"(\d{1,3})-(\d{1,3})")
_VALUE: Final = re.compile(r"[+-]?\d+(?:\.(\d+))?")


class TuningFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[tunings]]: a rule, and what it needs.

    strings : from the lowest, as players write them. shapes : frets by chord, x for a silent string.
    published : notes with the cents that the source prints, "A=0:" before them where A stands at equal.
    """

    name: Annotated[str, Meta(pattern=r"^[a-z][a-z0-9-]*$", max_length=60)]
    title: str
    rule: Literal["chord", "shapes", "fifths", "series", "scale", "valves", "circle"]
    source: Annotated[str, Meta(min_length=1)]
    root: str = ""
    strings: str = ""
    shapes: dict[str, str] = {}
    partials: str = ""
    scale: str = ""
    valves: str = ""
    circle: str = ""
    published: str = ""
    loose: str = ""


class FamilyFields(Fields, kw_only=True):
    """presets/tunings/: a family of tunings."""

    tunings: Annotated[list[TuningFields], Meta(min_length=1)]


@cache
def tunings() -> tuple[StoredTuning, ...]:
    """Every tuning of the library. Raises BadPreset with file, row and key."""
    return tunings_in(LIBRARY)


def tunings_in(folder: Path) -> tuple[StoredTuning, ...]:
    """Every tuning of the families in a folder. Raises BadPreset, also for a name that is there twice."""
    found: dict[str, StoredTuning] = {}
    for path in library_files(folder):
        fields = read(path, FamilyFields, placed)
        for index, row in enumerate(fields.tunings):
            with in_row(path, f"tunings[{index}].name"):
                if row.name in found:
                    raise BadValue(f'"{row.name}" is taken already; give each tuning a name of its own')
            found[row.name] = _tuning(row, path, index)
    return tuple(found.values())


def tuning(name: str, path: Path) -> StoredTuning:
    """A tuning of the library by its name, from the file of its family."""
    fields = read(path, FamilyFields, placed)
    for index, row in enumerate(fields.tunings):
        if row.name == name:
            return _tuning(row, path, index)
    raise BadPreset(f'{path}: there is no tuning called "{name}"')


def instrument_of(tuning: StoredTuning) -> Instrument:
    """The instrument that a tuning with strings is. Raises BadPreset for one without."""
    if not tuning.strings:
        raise BadPreset(
            f"{tuning.name} has no strings, so it is no instrument; see: tonegen tunings show {tuning.name}"
        )
    count = len(tuning.notes)
    strings = tuple(String(number, tuning.notes[count - number].key) for number in range(1, count + 1))
    root = tuning.notes[tuning.root].key % 12
    return Instrument(
        tuning.name, tuning.title, strings, root=root, flats=tuning.flats, source=tuning.source,
        grips=grips_of(tuning),
    )  # fmt: skip


def temperament_of(tuning: StoredTuning) -> Temperament:
    """The temperament that a tuning is: of its own strings, or of the twelve notes. Raises BadPreset."""
    offsets = solved(tuning).offsets_cents.tolist()
    if tuning.strings:
        points = {TuningPoint(tuning.number(place)): offset for place, offset in enumerate(offsets)}
        return OwnTemperament(tuning.name, tuning.name, points, tuning.title)
    root = tuning.notes[tuning.root].key
    by_semitone = {(note.key - root) % 12: cents for note, cents in zip(tuning.notes, offsets, strict=True)}
    if len(by_semitone) != 12 or tuning.rule not in (Rule.CIRCLE, Rule.SCALE):
        raise BadPreset(
            f"{tuning.name} has not all twelve notes, so it is no temperament; "
            f"see: tonegen tunings show {tuning.name}"
        )
    return PitchClassTemperament(tuning.name, tuple(by_semitone[each] for each in range(12)), 0, tuning.title)


def grips_of(tuning: StoredTuning) -> tuple[Grip, ...]:
    """The grips that follow from a tuning: all strings of a chord; else neighbours that are consonant."""
    if tuning.rule is Rule.CHORD and len(tuning.notes) > 1:
        places = range(len(tuning.notes))
        return (_grip("open strings", tuning, [*reversed(places)], tuning.notes[tuning.root].key),)
    pairs = []
    for below, above in pairwise(range(len(tuning.notes))):
        low, high = sorted((tuning.notes[below].key, tuning.notes[above].key))
        if (high - low) % 12 in rules.CONSONANCES and high > low:
            name = f"strings {tuning.number(above)}-{tuning.number(below)}"
            pairs.append(_grip(name, tuning, [above, below], low))
    return tuple(pairs)


def _grip(name: str, tuning: StoredTuning, places: list[int], root_key: int) -> Grip:
    roles = tuple(rules.DEGREES_BY_SEMITONE[(tuning.notes[place].key - root_key) % 12] for place in places)
    strings = tuple(tuning.number(place) for place in places)
    root = pitch_class_name(root_key, tuning.flats)
    return Grip(name, strings, (), root, roles, tuple(DEGREES[role] for role in roles))


def _tuning(row: TuningFields, path: Path, index: int) -> StoredTuning:
    def at(key: str) -> str:
        return f"tunings[{index}].{key}"

    rule = Rule(row.rule)
    own = _OWN_KEY.get(rule, "strings")
    for key in ("strings", *_OWN_KEY.values(), "shapes"):
        needed = key == own or (key == "shapes" and rule is Rule.SHAPES)
        with in_row(path, at(key)):
            if needed != bool(getattr(row, key)):
                raise BadValue(f'rule "{rule}" {"needs" if needed else "has no"} {key}')
    root_needed = rule in (Rule.CHORD, Rule.FIFTHS, Rule.SHAPES, Rule.SERIES, Rule.VALVES)
    with in_row(path, at("root")):
        if root_needed != bool(row.root):
            raise BadValue(f'rule "{rule}" {"needs a" if root_needed else "finds its own"} root')
        pitch_class = parse_pitch_class(row.root) if row.root else 0
    with in_row(path, at("shapes" if rule is Rule.SHAPES else own)):
        notes, wishes, root = _notes(row, rule, pitch_class)
    with in_row(path, at("root")):
        if root is None:
            raise BadValue(f'"{row.root}" is not among the strings: {row.strings}')
    with in_row(path, at("published")):
        published, anchor = _published(row.published, notes)
    return StoredTuning(
        row.name, path.stem, row.title, rule, notes, wishes, root, row.source,
        strings=bool(row.strings), flats="b" in f"{row.strings}{row.scale}{row.root}",
        published=published, published_anchor=anchor, loose=row.loose,
    )  # fmt: skip


def _notes(
    row: TuningFields, rule: Rule, pitch_class: int
) -> tuple[tuple[TuningNote, ...], tuple[WishedInterval, ...], int | None]:
    """Notes, what is wished between them, and the place of the root."""
    match rule:
        case Rule.SERIES:
            return *rules.series(_partials(row.partials), 36 + pitch_class), 0
        case Rule.VALVES:
            return *rules.valves(_valves(row.valves), 60 + pitch_class), 0
        case Rule.CIRCLE:
            return *rules.circle(*_circle(row.circle)), 0
        case Rule.SCALE:
            names, ratios = zip(*(_named_ratio(part) for part in row.scale.split()), strict=True)
            return rules.scale(names, [parse_note(name) for name in names], ratios)
    notes = tuple(TuningNote(name, parse_note(name)) for name in row.strings.split())
    keys = [note.key for note in notes]
    root = min(
        (p for p, key in enumerate(keys) if key % 12 == pitch_class), key=keys.__getitem__, default=None
    )
    if root is None or len(notes) < 2:
        return notes, (), root
    if rule is Rule.SHAPES:
        return notes, rules.shapes(keys, {name: _frets(text) for name, text in row.shapes.items()}), root
    return notes, rules.fifths(keys, root) if rule is Rule.FIFTHS else rules.chord(keys), root


def _frets(text: str) -> list[int | None]:
    frets: list[int | None] = []
    for part in text.split():
        if part != "x" and not (part.isascii() and part.isdigit() and len(part) < 4):
            raise BadValue(f'"{part}" is not a fret; write a number, or x for a silent string')
        frets.append(None if part == "x" else int(part))
    return frets


def _partials(text: str) -> list[int]:
    found = _TWO_NUMBERS.fullmatch(text)
    if not found or not 0 < int(found[1]) < int(found[2]):
        raise BadValue(f'"{text}" is not a range of partials; write such as 1-16')
    return list(range(int(found[1]), int(found[2]) + 1))


def _named_ratio(text: str) -> tuple[str, Ratio]:
    name, _, ratio = text.partition("=")
    return name, Ratio.parse(ratio)


def _valves(text: str) -> Mapping[str, float]:
    """Lengths by valve: a fraction of the open tube, or the cents by which the valve alone lowers."""
    lengths: dict[str, float] = {}
    for part in text.split():
        name, _, given = part.partition("=")
        if name in lengths:
            raise BadValue(f"valve {name} is listed twice")
        try:
            length = float(Fraction(given)) if "/" in given else 2 ** (float(given or 0) / 1200) - 1
        except (ValueError, ZeroDivisionError, OverflowError):
            raise BadValue(
                f'"{part}" is not a valve with its length; write such as 1=1/8 or 1=200.0'
            ) from None
        lengths[name] = length
    return lengths


def _circle(text: str) -> tuple[Mapping[int, Mapping[str, Fraction]], int | None]:
    """Fractions by fifth, and the closing one: "C-G-D-A -1/4 pythagorean; closing G#-Eb"."""
    tempering: dict[int, Mapping[str, Fraction]] = {}
    closing = None
    for part in filter(None, (part.split() for part in text.split(";"))):
        if part[0] == "closing" and len(part) == 2:
            closing = parse_fifth(part[1])
            continue
        chain, *pairs = part
        if not pairs or len(pairs) % 2 or "-" not in chain:
            raise BadValue(f'"{" ".join(part)}" is not a chain of fifths with its fraction and comma')
        fractions = {comma: _fraction(given) for given, comma in zip(pairs[::2], pairs[1::2], strict=True)}
        for comma in fractions:
            if comma not in rules.COMMA_CENTS:
                raise BadValue(f'"{comma}" is not a comma; write one of: {", ".join(rules.COMMA_CENTS)}')
        for low, high in pairwise(chain.split("-")):
            place = parse_fifth(f"{low}-{high}")
            if place in tempering:
                raise BadValue(f"{low}-{high} is given two fractions; give each fifth one")
            tempering[place] = fractions
    return tempering, closing


def _fraction(text: str) -> Fraction:
    try:
        return Fraction(text) if len(text) < 12 else Fraction("no")
    except (ValueError, ZeroDivisionError):
        raise BadValue(f'"{text}" is not a fraction of a comma; write one such as -1/4') from None


def _published(text: str, notes: tuple[TuningNote, ...]) -> tuple[tuple[PublishedOffset, ...], str]:
    anchor, colon, rest = text.partition("=0:")
    words = (rest if colon else text).split()
    known, published = {note.name for note in notes}, []
    if len(words) % 2:
        raise BadValue("write each note with its cents, such as: E4 -14 G4 2")
    for name, value in zip(words[::2], words[1::2], strict=True):
        found = _VALUE.fullmatch(value)
        if name not in known or not found:
            raise BadValue(f'"{name} {value}" is not a note of this tuning with its cents')
        published.append(PublishedOffset(name, float(value), 0.5 * 10.0 ** -len(found[1] or "")))
    return tuple(published), anchor if colon else ""
