"""A preset while it is typed: its text changed field by field, and all that is wrong with it so far.

What is typed stands in the text as it is: "0.0x" for a gauge is text where a number belongs, and is refused
when the preset is read, not when it is typed. A field is named as a fault names it: "changes[2].moves.5".
"""

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager
from copy import deepcopy
from pathlib import Path
from typing import Any, Final, Literal

import msgspec

from tonegen.errors import BadField, BadPreset, BadValue
from tonegen.presets.files import convert
from tonegen.presets.rewriting import rewritten
from tonegen.presets.rows import Faults
from tonegen.presets.set_file import FieldFault

Reads = Literal["text", "number", "whole", "yes", "texts", "numbers", "names", "pairs", "travels"]
Way = tuple[str | int, ...]
Noted = Callable[[], AbstractContextManager[None]]

_STEP: Final = re.compile(r"\[(\d+)\]|\.?([^.\[\]]+)")
_PAIR: Final = re.compile(r"([^\s=:,]+)\s*[=:]\s*([^\s,]+)")
_MOST_CHARACTERS: Final = 200_000
_MOST_FAULTS: Final = 20
_ALWAYS: Final = ("title", "name", "open", "root", "instrument")  # an empty one is refused, not left out
_GONE: Final = "there is no such field any more; it was changed meanwhile"


class Sheet:
    """What a text says while it is changed, and which of its rows each row was.

    values : the fields. was : of each list of rows, by its name, the row of the text; None for a new one.
    """

    def __init__(self, text: str) -> None:
        """As the text says it."""
        self.text = text
        self.values: dict[str, Any] = deepcopy(tomllib.loads(text))
        self.was: dict[str, list[int | None]] = {
            name: list(range(len(value)))
            for name, value in self.values.items()
            if isinstance(value, list) and any(isinstance(row, dict) for row in value)
        }

    def rows(self, name: str) -> list[dict[str, Any]]:
        """The rows of a name, which may be none yet."""
        self.was.setdefault(name, [])
        found: list[dict[str, Any]] = self.values.setdefault(name, [])
        return found

    def add(self, name: str, row: dict[str, Any]) -> None:
        """One more at the end."""
        self.rows(name).append(row)
        self.was[name].append(None)

    def take_out(self, name: str, at: int) -> None:
        """One less."""
        del self.rows(name)[at], self.was[name][at]

    def move(self, name: str, at: int, to: int) -> None:
        """The same in another place."""
        rows, was = self.rows(name), self.was[name]
        rows.insert(to, rows.pop(at))
        was.insert(to, was.pop(at))

    def written(self) -> str:
        """The text that says it. Raises BadValue for one that cannot be followed, or grows too long."""
        wanted = {name: value for name, value in self.values.items() if value or name not in self.was}
        try:
            text = rewritten(self.text, wanted, self.was)
        except ValueError:
            raise BadValue("this file is laid out in another way; change it by hand") from None
        if len(text) > _MOST_CHARACTERS:
            raise BadValue("that is more than a preset can hold")
        return text


def way_to(field: str) -> Way:
    """A field's name as steps.

    >>> way_to("changes[2].half_stops.5[0].travel")
    ('changes', 2, 'half_stops', '5', 0, 'travel')
    """
    return tuple(int(at) if at else name for at, name in _STEP.findall(field))


def named_way(way: Way) -> str:
    """The name of a field of these steps.

    >>> named_way(way_to("body.together[0]"))
    'body.together[0]'
    """
    return "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in way).removeprefix(".")


def kind_of(way: Way, reads: Mapping[str, Reads]) -> Reads | None:
    """How a field is read; None for a name that is no field.

    >>> kind_of(way_to("changes[2].moves.5"), {"changes[].moves.*": "whole"})
    'whole'
    """
    name = named_way(way)
    return next((kind for pattern, kind in reads.items() if _matches(pattern, name)), None)


def _matches(pattern: str, name: str) -> bool:
    parts = re.escape(pattern).replace(r"\[\]", r"\[\d+\]").replace(r"\*", r"[^.\[\]]+")
    return re.fullmatch(parts, name) is not None


def put(sheet: Sheet, way: Way, kind: Reads, typed: str) -> None:
    """Write what was typed into a field; nothing takes it out. Raises BadValue where there is no such row."""
    here = _at(sheet.values, way[:-1], make=True)
    last = way[-1]
    value = value_of(kind, typed)
    if isinstance(last, int) != isinstance(here, list):
        raise BadValue(_GONE)
    try:
        if value is None and last not in _ALWAYS and isinstance(here, dict):
            here.pop(last, None)
            if not here and len(way) == 2 and not sheet.was.get(str(way[0])):
                sheet.values.pop(str(way[0]), None)
        else:
            here[last] = "" if value is None else value
    except (IndexError, KeyError, TypeError):
        raise BadValue(_GONE) from None


def _at(values: Any, way: Way, make: bool = False) -> Any:
    for at, step in enumerate(way):
        try:
            values = values[step]
        except KeyError:
            if not make or any(isinstance(one, int) for one in way[at : at + 2]):
                raise BadValue(_GONE) from None
            values[step] = {}
            values = values[step]
        except (IndexError, TypeError):
            raise BadValue(_GONE) from None
    return values


def value_of(kind: Reads, typed: str) -> Any:
    """What was typed as a field holds it; the text itself where it is not of that kind; None for nothing.

    >>> value_of("whole", "+2"), value_of("number", "0.013"), value_of("number", "thick")
    (2, 0.013, 'thick')
    >>> value_of("texts", "A, V"), value_of("pairs", "3=3 4=1"), value_of("numbers", "0, 3, 8")
    (['A', 'V'], {'3': '3', '4': '1'}, [0, 3, 8])
    """
    text = typed.strip()
    if not text:
        return None
    match kind:
        case "number" | "whole":
            return _number(text)
        case "yes":
            return {"yes": True, "no": False}.get(text, text)
        case "names":  # which may have commas in them
            return [part.strip() for part in text.split(";") if part.strip()]
        case "texts":
            return [part.strip() for part in text.split(",") if part.strip()]
        case "numbers":
            return [_number(part) for part in re.split(r"[,\s]+", text) if part]
        case "pairs" | "travels":
            if _PAIR.sub("", text).replace(",", "").strip():
                return text
            read = _number if kind == "travels" else str
            return {name: read(value) for name, value in _PAIR.findall(text)}
        case _:
            return text


def _number(text: str) -> float | str:
    try:
        number = float(text.replace("\N{MINUS SIGN}", "-"))
        return int(number) if number == int(number) else number
    except (ValueError, OverflowError):  # such as nan and inf
        return text


def typed_fields(values: Mapping[str, Any], reads: Mapping[str, Reads]) -> dict[str, str]:
    """Every field that there is, as it would be typed.

    >>> typed_fields({"changes": [{"name": "A", "moves": {"5": 2}}]},
    ...              {"changes[].name": "text", "changes[].moves.*": "whole"})
    {'changes[0].name': 'A', 'changes[0].moves.5': '2'}
    """
    return dict(_typed(values, (), reads))


def _typed(value: Any, way: Way, reads: Mapping[str, Reads]) -> Iterator[tuple[str, str]]:
    if way and (kind := kind_of(way, reads)):
        yield named_way(way), "; ".join(map(typed, value)) if kind == "names" else typed(value)
    elif isinstance(value, Mapping):
        for name, one in value.items():
            yield from _typed(one, (*way, name), reads)
    elif isinstance(value, list):
        for at, one in enumerate(value):
            yield from _typed(one, (*way, at), reads)


def typed(value: Any) -> str:
    """A value as it is typed.

    >>> typed(["A", "V"]), typed({"3": "b3", "4": "1"}), typed(0.013), typed(True)
    ('A, V', '3=b3 4=1', '0.013', 'yes')
    """
    match value:
        case bool():
            return "yes" if value else "no"
        case Mapping():
            return " ".join(f"{name}={typed(one)}" for name, one in value.items())
        case list():
            return ", ".join(map(typed, value))
        case _:
            return str(value)


def counted_rows(values: Mapping[str, Any]) -> dict[str, int]:
    """How many there are of each list, by its name, such as "body.together".

    >>> counted_rows({"strings": [{}, {}], "body": {"together": [["A", "B"]]}, "title": "Mine"})
    {'strings': 2, 'body.together': 1}
    """
    found: dict[str, int] = {}

    def look(value: Any, way: Way) -> None:
        if isinstance(value, list) and value and isinstance(value[0], (Mapping, list)):
            found[named_way(way)] = len(value)
        parts = (
            value.items()
            if isinstance(value, Mapping)
            else enumerate(value)
            if isinstance(value, list)
            else ()
        )
        for step, one in parts:
            look(one, (*way, step))

    look(values, ())
    return found


def faults_of(
    text: str, path: Path, model: Any, check: Callable[[Any, Path, Noted], object]
) -> tuple[FieldFault, ...]:
    """All that is wrong with a text so far, each at its field.

    model : the fields of the preset. check : makes it of them, with what is refused `noted`.
    """
    values = tomllib.loads(text)
    found: list[FieldFault] = []
    while len(found) < _MOST_FAULTS:
        try:
            fields = msgspec.convert(values, model)
            break
        except msgspec.ValidationError:
            fault, way = _refused(values, path, model)
            if found and found[-1].field == fault.field:
                break
            found.append(fault)
            if not _without(values, way):
                break
    if found:
        return tuple(found)
    faults = Faults()
    try:
        check(fields, path, faults.noted)
    except (BadValue, BadPreset) as error:
        if not faults:  # else it comes of what was noted, and was left out
            field, why = (error.field, error.why) if isinstance(error, BadField) else ("", str(error))
            return (FieldFault(field, why),)
    return tuple(FieldFault(field, why) for field, why in faults.fields)


def _refused(values: Any, path: Path, model: Any) -> tuple[FieldFault, Way]:
    """Why a preset of these values is none, and the way to what is wrong."""
    try:
        convert(values, path, model)
    except BadField as error:
        way = _whole_way(values, path, model, way_to(error.field.replace("[...]", ".*")))
        missing = re.match(r'the field "(.+)" is missing', error.why)
        name = named_way((*way, missing[1]) if missing else way)
        return FieldFault(name, "this is needed" if missing else error.why), way
    raise AssertionError("was refused before")


def _whole_way(values: Any, path: Path, model: Any, way: Way) -> Way:
    """The way with the names of what stands as * in it: the one without which there is another fault."""
    if "*" not in way:
        return way
    at = way.index("*")
    there = _at(values, way[:at])
    for name in there:
        alone = deepcopy(values)
        for other in [other for other in there if other != name]:
            del _at(alone, way[:at])[other]
        try:
            convert(alone, path, model)
        except BadField as error:
            if len(way_to(error.field.replace("[...]", ".*"))) == len(way):
                return _whole_way(values, path, model, (*way[:at], name, *way[at + 1 :]))
    return way[:at]


def _without(values: Any, way: Way) -> bool:
    """Take a field out, so that the next fault is found; not a row, whose neighbours would be another's."""
    if not way or isinstance(way[-1], int):
        return False
    here = _at(values, way[:-1])
    return here.pop(way[-1], None) is not None
