"""Strings as they were heard alone, kept beside the player's presets: one file for each instrument."""

from collections.abc import Mapping
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Final

import numpy as np
from msgspec import Meta, Struct

from tonegen.errors import BadPreset, BadValue
from tonegen.instrument import Instrument, TuningPoint
from tonegen.listen.learned import LearnedString
from tonegen.listen.spectrum import OwnWays
from tonegen.presets.files import Fields, own_folder, read
from tonegen.writing import written_whole

_FOLDER: Final = "learned"
_MOST_PARTIALS: Final = 64

WayCents = Annotated[float, Meta(ge=-100, le=100)]


class LearnedFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[strings]]: one tuning point as it was heard."""

    string: int
    changes: list[str] = []
    note: str
    day: date
    hz: Annotated[float, Meta(gt=0, le=20000)]
    stiffness: Annotated[float, Meta(gt=0, le=0.1)]
    alike_cents: Annotated[float, Meta(ge=0, le=10)]
    partials: Annotated[list[Annotated[int, Meta(ge=1, le=_MOST_PARTIALS)]], Meta(min_length=1)]
    cents: list[WayCents]
    error_cents: list[Annotated[float, Meta(gt=0, le=100)]]


class LearnedFileFields(Fields, kw_only=True):
    """learned/: the strings of one instrument."""

    instrument: str
    strings: list[LearnedFields] = []


def learned_strings(instrument: Instrument) -> Mapping[TuningPoint, LearnedString]:
    """What was learned of an instrument's strings, by tuning point; nothing where none was.

    Raises BadPreset for a file that does not fit the instrument as it is now.
    """
    path = _path(instrument)
    return {
        TuningPoint(each.string, tuple(each.changes)): _learned(path, instrument, each)
        for each in _fields(instrument)
    }


def learned_days(instrument: Instrument) -> Mapping[TuningPoint, date]:
    """When each string of an instrument was learned. Raises BadPreset as `learned_strings` does."""
    found = {TuningPoint(each.string, tuple(each.changes)): each.day for each in _fields(instrument)}
    learned_strings(instrument)
    return found


def save_learned(instrument: Instrument, learned: Mapping[TuningPoint, LearnedString], day: date) -> Path:
    """Keep what was learned of strings; what was learned of others before stays.

    Raises CannotWrite; BadPreset for a file that does not fit.
    """
    import tomlkit

    path = _path(instrument)
    # What was learned of these strings before need not fit any longer: it is replaced.
    kept = [
        each for each in _fields(instrument) if TuningPoint(each.string, tuple(each.changes)) not in learned
    ]
    for each in kept:
        _learned(path, instrument, each)
    document = tomlkit.document()
    document["title"] = f"Strings as they were heard: {instrument.title}"
    document["instrument"] = instrument.name
    entries = [*map(_entry, kept)]
    for point, string in learned.items():
        entries.append(
            _entry(
                LearnedFields(
                    string=point.string, changes=list(point.changes), note=instrument.note(point), day=day,
                    hz=round(string.hz, 5), stiffness=float(f"{string.stiffness:.4e}"),
                    alike_cents=round(string.alike_cents, 3),
                    partials=[int(each) for each in string.ways.numbers],
                    cents=[round(float(each), 4) for each in string.ways.cents],
                    error_cents=[round(float(each), 4) for each in np.sqrt(string.ways.variances)],
                )
            )
        )  # fmt: skip
    tables = tomlkit.aot()
    for entry in sorted(entries, key=lambda each: (each["string"], each["changes"])):
        table = tomlkit.table()
        table.update(entry)
        tables.append(table)
    document["strings"] = tables
    path.parent.mkdir(parents=True, exist_ok=True)
    with written_whole(path, force=True) as beside:
        beside.write_text(tomlkit.dumps(document), encoding="utf-8")
    return path


def _path(instrument: Instrument) -> Path:
    return own_folder() / _FOLDER / f"{instrument.name}.toml"


def _fields(instrument: Instrument) -> list[LearnedFields]:
    path = _path(instrument)
    if not path.exists():
        return []
    found = read(path, LearnedFileFields)
    if found.instrument != instrument.name:
        raise BadPreset(
            f"{path}: these strings were learned on {found.instrument}, not on {instrument.name}; move the "
            "file away, and learn them: tonegen listen learn"
        )
    return found.strings


def _entry(fields: LearnedFields) -> dict[str, Any]:
    return {name: getattr(fields, name) for name in fields.__struct_fields__}


def _learned(path: Path, instrument: Instrument, fields: LearnedFields) -> LearnedString:
    again = "learn it again: tonegen listen learn"
    numbers = {string.number for string in instrument.strings}
    if fields.string not in numbers:
        raise BadPreset(
            f"{path}: string {fields.string} was learned, which {instrument.name} has not; remove it there"
        )
    point = TuningPoint(fields.string, tuple(fields.changes))
    note = ""
    with suppress(BadValue):  # there is no such change any more
        note = instrument.note(point)
    if note != fields.note:
        raise BadPreset(
            f"{path}: string {fields.string} was learned as {fields.note}, which it is no longer on "
            f"{instrument.name}; {again}"
        )
    if not len(fields.partials) == len(fields.cents) == len(fields.error_cents):
        raise BadPreset(
            f"{path}: string {fields.string} needs as many cents and error_cents as partials; {again}"
        )
    ways = OwnWays(
        np.array(fields.partials, dtype=np.float64),
        np.array(fields.cents),
        np.array(fields.error_cents) ** 2,
    )
    return LearnedString(fields.hz, fields.stiffness, ways, fields.alike_cents)
