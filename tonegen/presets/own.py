"""The player's own presets: stored so that what the player wrote into the file by hand stays.

Comments, order and further fields of a file that is there already survive; only the figures change. A file
is written beside its place and renamed into it, so that it is never half written.
"""

import os
import re
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import Any, Final

from tonegen.drop import Drop
from tonegen.errors import BadPreset, BadValue, CannotWrite
from tonegen.instrument import Instrument, TuningPoint
from tonegen.presets.drops import DropFields, drop_from
from tonegen.presets.files import SHIPPED, Title, is_file_name, locate, own_folder, read
from tonegen.presets.temperaments import TemperamentFields, temperament_from
from tonegen.temperament import OwnTemperament
from tonegen.writing import written_whole

_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,59}")
_DECIMALS: Final = 4  # of a cent: a hundredth of what any meter shows


def save_temperament(own: OwnTemperament, left_alone: Collection[TuningPoint] = ()) -> Path:
    """Store offsets as the player's own temperament under its name; every command then takes that name.

    Points of a file that is there already and that `own` says nothing about stay as they are, and so do those
    that are `left_alone`.
    Raises BadValue for a name that is no name, or that of a preset that comes with the program, or of a
    temperament of another kind or instrument; BadPreset for a file that is broken; CannotWrite.
    """
    path = _place("temperaments", own.name)
    document = _document(path, _check_temperament)
    if document and document.get("instrument") != own.instrument_name:
        whose = document.get("instrument", "no instrument, but to notes")
        raise BadValue(
            f'"{own.name}" already exists and belongs to {whose}, and was left alone; save under another name'
        )
    stay = left_alone if document else ()
    document.setdefault("title", own.title or own.name)
    document["instrument"] = own.instrument_name
    _update_points(document, {at: cents for at, cents in own.offsets_cents.items() if at not in stay})
    _write(path, _toml(document))
    return path


def save_drop(drop: Drop, instrument: Instrument) -> Path:
    """Store a drop profile under its name; what a file that is there says of other strings and changes stays.

    Raises BadValue for a bad name, or that of a profile of another instrument; BadPreset for a file that is
    broken; CannotWrite.
    """
    path = _place("drops", drop.name)
    document = _document(path, lambda there: _check_drop(there, instrument))
    document.setdefault("title", drop.title or drop.name)
    cents = document.setdefault("cents", {})
    for change, values in drop.cents.items():
        table = cents.setdefault(change, {})
        for string, value in values.items():
            table[str(string)] = _rounded(value)
    _write(path, _toml(document))
    return path


def copy_preset(kind: str, name: str, new_name: str) -> Path:
    """Copy a preset, byte for byte, into the player's own folder under another name.

    Raises BadPreset for one that is not there, cannot be read or is given as a file; BadValue for a name that
    is no name or is taken; CannotWrite.
    """
    if is_file_name(name):
        raise BadPreset(f'"{name}" is a file; give a name, such as those of: tonegen list {kind}')
    path, place = locate(kind, name), _place(kind, new_name)
    if os.path.lexists(place):
        raise BadValue(f'"{new_name}" already exists, and was left alone; copy to another name')
    read(path, Title)
    _write(place, path.read_bytes())
    return place


def _update_points(document: Any, offsets_cents: Mapping[TuningPoint, float]) -> None:
    from tomlkit import aot, array, nl, table

    if "points" not in document:
        document.add(nl())
        document["points"] = aot()
    left = dict(offsets_cents)
    for entry in document["points"]:
        point = TuningPoint(entry["string"], tuple(entry.get("changes", [])))
        if point in left:
            entry["offset_cents"] = _rounded(left.pop(point))
    for point, cents in left.items():
        entry = table()
        entry["string"] = point.string
        if point.changes:
            changes = array()
            changes.extend(point.changes)
            entry["changes"] = changes
        entry["offset_cents"] = _rounded(cents)
        document["points"].append(entry)


def _rounded(cents: float) -> float:
    return round(cents, _DECIMALS) + 0.0


def _place(kind: str, name: str) -> Path:
    if not _NAME.fullmatch(name):
        raise BadValue(f'"{name}" cannot be used as a name; use letters, digits, - and _, such as my-e9')
    if (SHIPPED / kind / f"{name}.toml").is_file() or name == "none":
        raise BadValue(f'"{name}" comes with the program; save under another name, such as my-{name}')
    return own_folder() / kind / f"{name}.toml"


def _document(path: Path, check: Callable[[Path], object]) -> Any:
    """The file as it was written, once it has been read as a preset; an empty one where there is none."""
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    if not path.exists():
        return tomlkit.document()
    try:
        check(path)
        return tomlkit.parse(path.read_bytes().decode("utf-8-sig"))
    except BadPreset as error:
        raise BadPreset(f"{error}; fix or remove it before saving under its name") from None
    except TOMLKitError as error:
        raise BadPreset(f"{path}: {error}; fix or remove it before saving under its name") from None


def _check_temperament(path: Path) -> None:
    temperament_from(read(path, TemperamentFields), path)


def _check_drop(path: Path, instrument: Instrument) -> None:
    there = drop_from(read(path, DropFields), path)
    try:
        there.checked_on(instrument)
    except BadValue:
        raise BadValue(
            f'"{path.stem}" already exists, for another instrument; left alone; save under another name'
        ) from None


def _toml(document: Any) -> bytes:
    import tomlkit

    return tomlkit.dumps(document).encode()


def _write(path: Path, content: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotWrite(f"{path}: cannot be written: {error.strerror}; choose another place") from None
    with written_whole(path, force=True) as beside:
        beside.write_bytes(content)  # the player's line ends stay
