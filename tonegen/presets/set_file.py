"""A set's file changed row by row: order and fields as wanted, its text otherwise as it was.

Where anything is wrong with what comes out, or else than what was asked for, nothing is written.
"""

import hashlib
import tomllib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tonegen.errors import BadPreset, BadValue
from tonegen.frozen import Frozen
from tonegen.presets.files import SHIPPED, listed
from tonegen.presets.rewriting import rewritten
from tonegen.presets.sets import set_and_faults
from tonegen.writing import written_whole


@dataclass(frozen=True, slots=True)
class RowChange(Frozen):
    """A row as it is to be: of the file's, from 0, or None for a new one.

    fields : those that have another value; None takes one out. What is not named stays as it is.
    """

    was: int | None
    fields: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class FieldFault:
    """What is wrong with a field, such as "songs[3].key"; "" where it is not one field."""

    field: str
    why: str


def stamp_of(path: Path) -> str:
    """What tells one state of a file from another."""
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16]


def change_set(
    name: str, stamp: str, fields: Mapping[str, Any], rows: Mapping[str, Sequence[RowChange]]
) -> tuple[FieldFault, ...]:
    """Write a set of the player's own with other fields and rows; what is wrong, and then nothing is written.

    stamp : of the file that was read to be changed. rows : by their name, "songs"; all that is to be there.
    Raises BadValue for a set that comes with the program, or that somebody changed meanwhile; BadPreset for
    a file that is laid out in another way; CannotWrite.
    """
    path = listed("sets", name)
    if path.is_relative_to(SHIPPED):
        raise BadValue(f"{name} comes with the program; make a copy to change")
    if stamp_of(path) != stamp:
        raise BadValue(f"{path} was changed meanwhile and was left alone; read it again, then change it")
    content = path.read_bytes().decode("utf-8-sig")
    try:
        wanted = _wanted(tomllib.loads(content), fields, rows)
        written = rewritten(content, wanted, {name: [one.was for one in some] for name, some in rows.items()})
    except (IndexError, ValueError):
        raise BadPreset(
            f"{path}: is not laid out with [[songs]] and a key on each line; change it by hand"
        ) from None
    faults: tuple[FieldFault, ...] = ()
    try:
        with written_whole(path, force=True) as beside:
            beside.write_bytes(written.encode())
            _, found = set_and_faults(str(beside))
            faults = tuple(
                FieldFault(field, why.replace(str(beside), str(path))) for field, why in found.fields
            )
            if found:
                raise _RefusedError
    except _RefusedError:
        pass
    return faults


class _RefusedError(Exception):
    """Nothing is to be written."""


def _wanted(
    before: dict[str, Any], fields: Mapping[str, Any], rows: Mapping[str, Sequence[RowChange]]
) -> dict[str, Any]:
    """What the file is to say."""
    wanted = _with(before, fields)
    for name, changes in rows.items():
        there = before.get(name, [])
        wanted[name] = [_with(there[one.was] if one.was is not None else {}, one.fields) for one in changes]
        if not changes:
            del wanted[name]
    return wanted


def _with(before: Mapping[str, Any], fields: Mapping[str, Any]) -> dict[str, Any]:
    found = deepcopy({**before, **fields})
    return {name: value for name, value in found.items() if value is not None}
