"""A set's file changed row by row: order and fields as wanted, each comment and line beside them as it was.

A row is text, from its [[songs]] to the next row, with the comment right above it. The comment above the
first row tells of them all, and stays at their head, unless other rows have one as well. What comes out is
read again before it is written: where anything else than what was asked for is different, nothing is.
"""

import hashlib
import re
import tomllib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from tonegen.errors import BadPreset, BadValue
from tonegen.frozen import Frozen
from tonegen.presets.files import SHIPPED, listed
from tonegen.presets.sets import set_and_faults
from tonegen.writing import written_whole

_HEADER: Final = re.compile(r"\s*\[\[?\s*([\w.-]+)\s*\]\]?\s*(#.*)?$")


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
    written = ""
    try:
        written = _changed(content, fields, rows)
        right = tomllib.loads(written) == _wanted(tomllib.loads(content), fields, rows)
    except (IndexError, ValueError):  # rows that were not found as text, or what is no TOML any more
        right = False
    if not right:
        raise BadPreset(f"{path}: is not laid out with [[songs]] and a key on each line; change it by hand")
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


def _changed(content: str, fields: Mapping[str, Any], rows: Mapping[str, Sequence[RowChange]]) -> str:
    end = "\r\n" if "\r\n" in content else "\n"
    head, pieces = _pieces(content.replace("\r\n", "\n"), tuple(rows))
    head = _with_fields(head, fields)
    for name, changes in rows.items():
        there = [text for kind, text in pieces if kind == name]
        new = [
            _with_fields(there[one.was] if one.was is not None else f"[[{name}]]\n", one.fields)
            for one in changes
        ]
        pieces = _refilled(pieces, name, new)
    text = head
    for kind, piece in pieces:
        if kind and text and not text.endswith("\n\n") and not _ends_with_comment(text):
            text += "\n" if text.endswith("\n") else "\n\n"
        text += piece
    return (text.rstrip("\n") + "\n").replace("\n", end)


def _ends_with_comment(text: str) -> bool:
    return text.splitlines()[-1].lstrip().startswith("#")


def _pieces(text: str, names: Sequence[str]) -> tuple[str, list[tuple[str, str]]]:
    """What is before any row, then pieces in their order: rows by their name, and "" for what stays there."""
    lines = text.splitlines(keepends=True)
    starts = [(at, found[1]) for at, line in enumerate(lines) if (found := _HEADER.match(line))]
    cuts: list[tuple[int, int, str]] = []  # where its comment begins, its header, whose it is
    for at, header in starts:
        row = lines[at].lstrip().startswith("[[") and header in names
        if not row and header.partition(".")[0] in names:
            continue  # belongs to the row before it
        above = at
        while above and lines[above - 1].lstrip().startswith("#"):
            above -= 1
        cuts.append((above, at, header if row else ""))
    told = {name: sum(above < at for above, at, kind in cuts if kind == name) for name in names}
    seen: set[str] = set()
    pieces: list[tuple[str, str]] = []
    if not cuts:
        return text, pieces
    for (above, at, kind), after in zip(cuts, [*cuts[1:], (len(lines), 0, "")], strict=True):
        first = kind not in seen
        seen.add(kind)
        begin = above
        if kind and first and told[kind] == 1 and above < at:
            pieces.append(("", "".join(lines[above:at])))
            begin = at
        pieces.append((kind, "".join(lines[begin : after[0]])))
    return "".join(lines[: cuts[0][0]]), pieces


def _refilled(pieces: list[tuple[str, str]], name: str, new: list[str]) -> list[tuple[str, str]]:
    """Other rows in the places of those that were there; more after the last one, or at the end."""
    last = max((at for at, (kind, _) in enumerate(pieces) if kind == name), default=None)
    found, left = [], [(name, text) for text in new]
    for at, (kind, text) in enumerate(pieces):
        if kind != name:
            found.append((kind, text))
        elif at == last:
            found += left
            left = []
        elif left:
            found.append(left.pop(0))
    return found + left


def _with_fields(text: str, fields: Mapping[str, Any]) -> str:
    """The same row with other fields; what stands below its own, as songs.sends do, is left alone."""
    import tomlkit

    if not fields:
        return text
    lines = text.splitlines(keepends=True)
    header = next((at + 1 for at, line in enumerate(lines) if _HEADER.match(line)), 0)
    below = next((at for at in range(header, len(lines)) if _HEADER.match(lines[at])), len(lines))
    while below > header and (not lines[below - 1].strip() or lines[below - 1].lstrip().startswith("#")):
        below -= 1
    document = tomlkit.parse("".join(lines[header:below]))
    for name, value in fields.items():
        if value is None:
            document.pop(name, None)
        else:
            document[name] = value
    body = tomlkit.dumps(document)
    return (
        "".join(lines[:header])
        + body
        + ("" if body.endswith("\n") or not body else "\n")
        + "".join(lines[below:])
    )
