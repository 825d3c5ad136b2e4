"""A damaged file of the page, read field by field: each song, grip, reading and moved point by itself.

Of what is not whole every field that can be read is taken, of lists every entry; the rest comes from a copy
of the file, where there is one.
"""

import json
import re
from collections import Counter
from collections.abc import Iterator
from typing import Any, Final, get_args, get_origin

import msgspec
from msgspec import Struct

from tonegen.page.setting import MeterReading, Playing, Setting
from tonegen.setup.setting import MovedPoint, SavedGrip, Song

Parts = tuple[Setting, Playing]

_IN_WORDS: Final = {
    "moved": "moved offsets", "songs": "set list", "grips": "saved grips", "readings": "readings",
    "weights": "weights of grips", "reference_hz": "reference pitch", "level_dbfs": "level",
    "two_tones": "two tones", "travels": "engaged changes",
}  # fmt: skip
_GROW: Final = ("moved", "songs", "grips", "readings", "pins", "weights")
_UNKNOWN: Final = object()


def fields_of(data: bytes) -> tuple[dict[str, Any], bool]:
    """The JSON object in a file as far as it can be read, and whether that is all of it."""
    text = data.decode("utf-8", "replace")
    try:
        found = json.loads(text, parse_constant=_refused)
        if isinstance(found, dict):
            return found, True
    except (ValueError, RecursionError):
        pass
    parting = text.rfind('"playing":')
    first, second = (text[:parting], text[parting:]) if parting >= 0 else (text, "")
    return {"setting": _scanned(first, Setting), "playing": _scanned(second, Playing)}, False


def salvaged(
    fields: dict[str, Any], copy: Parts, *, whole: bool, lacks: bool
) -> tuple[Setting, Playing, list[str]]:
    """What can be read of a file's fields, the rest from a copy; and what could not be read, in words.

    whole : whether the fields are all that the file held; if not, a letter of what reads well may be another
        as well, so that lists have the entries of the copy too
    lacks : whether a field that is not there is missing; it may be younger than the file
    """
    faults: list[str] = []
    setting = _salvaged(Setting, fields.get("setting"), copy[0], whole, lacks, faults)
    playing = _salvaged(Playing, fields.get("playing"), copy[1], whole, lacks, faults)
    return setting, playing, faults


def _salvaged(
    model: type[Any], values: Any, copy: Any, file_whole: bool, lacks: bool, faults: list[str]
) -> Any:
    values = values if isinstance(values, dict) else {}
    read: dict[str, Any] = {}
    for field in msgspec.structs.fields(model):
        there = getattr(copy, field.name)
        found, whole = _read(values.get(field.name, _UNKNOWN), field.type)
        if whole:
            grown = field.name in _GROW and not file_whole
            read[field.name] = _both(found, there) if grown else found
            continue
        read[field.name] = there if found is _UNKNOWN else _both(found, there)
        if lacks or field.name in values:
            faults.append(_IN_WORDS.get(field.name, field.name.replace("_", " ")))
    return model(**read)


def _read(value: Any, kind: Any) -> tuple[Any, bool]:
    """A value of its kind, as far as it can be read, and whether that is all of it."""
    if value is _UNKNOWN:
        return _UNKNOWN, False
    try:
        return msgspec.convert(value, kind), True
    except (msgspec.ValidationError, RecursionError):
        pass
    origin, inner = get_origin(kind), get_args(kind)
    if origin is tuple and inner[-1] is Ellipsis and isinstance(value, list):
        return tuple(read for one in value for read, whole in [_read(one, inner[0])] if whole), False
    if origin is dict and isinstance(value, dict):
        entries = {name: _read(one, inner[1]) for name, one in value.items()}
        return {name: read for name, (read, whole) in entries.items() if whole}, False
    return _UNKNOWN, False


def _both(read: Any, copy: Any) -> Any:
    """Everything that either has; where both have it, what was read."""
    if isinstance(read, dict):
        return {**copy, **read}
    if any(isinstance(one, MeterReading) for one in (*read, *copy)):  # which may be there twice
        return (*copy, *(Counter(read) - Counter(copy)).elements())
    return tuple({**{_known_by(one): one for one in copy}, **{_known_by(one): one for one in read}}.values())


def _known_by(one: Any) -> Any:
    match one:
        case Song() | SavedGrip():
            return one.name
        case MovedPoint():
            return one.point
    return one


def _scanned(text: str, model: type[Struct]) -> dict[str, Any]:
    """The fields of a model that are found in damaged JSON by their names, lists and tables first."""
    found: dict[str, Any] = {}
    fields = msgspec.structs.fields(model)
    names = [field.name for field in fields if field.name != "against"]  # which readings have as well
    following = re.compile(rf'(?<!\\)"({"|".join(names)})"\s*:')
    for field in sorted(fields, key=lambda one: isinstance(one.default, (str, int, float, type(None)))):
        place = re.search(rf'(?<!\\)"{field.name}"\s*:\s*', text)
        if place is None:
            continue
        try:
            found[field.name], end = _DECODER.raw_decode(text, place.end())
        except (ValueError, RecursionError):
            after = following.search(text, place.end())
            end = after.start() if after else len(text)
            if text.startswith("[", place.end()):
                found[field.name] = [*_entries(text[place.end() + 1 : end]), _UNKNOWN]
        text = text[: place.start()] + text[end:]
    return found


def _entries(text: str) -> Iterator[Any]:
    """The whole objects in a piece of a list."""
    at = text.find("{")
    while at >= 0:
        try:
            entry, at = _DECODER.raw_decode(text, at)
            yield entry
        except (ValueError, RecursionError):
            at += 1
        at = text.find("{", at)


def _refused(constant: str) -> None:
    raise ValueError(f"{constant} is not JSON")


_DECODER: Final = json.JSONDecoder(parse_constant=_refused)
