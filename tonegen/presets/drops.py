"""Drop profiles from TOML: how far each string sags by change."""

from pathlib import Path
from typing import Annotated

from msgspec import Meta, Struct

from tonegen.drop import NO_DROP, Drop
from tonegen.presets.files import Cents, Fields, by_string, locate, named, read

_MOST_STRINGS = 24


class CombinationFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[combinations]]: a drop measured with all of these changes engaged; cents by string."""

    changes: Annotated[list[str], Meta(min_length=2)]
    cents: dict[str, Cents]


class DropFields(Fields, kw_only=True):
    """presets/drops/: cents by change, then by string; a string that sags is negative."""

    cents: dict[str, dict[str, Cents]]
    combinations: list[CombinationFields] = []


def drop(name: str) -> Drop:
    """The drop profile of that name or file; "none" is no drop."""
    if name == NO_DROP.name:
        return NO_DROP
    path = locate("drops", name)
    return drop_from(read(path, DropFields), path)


def drop_from(fields: DropFields, path: Path) -> Drop:
    """A drop profile from its checked fields. Raises BadPreset naming the field that does not fit."""
    cents = {}
    for change, values in fields.cents.items():
        with named(path, f"cents.{change}"):
            for text, value in values.items():
                with named(path, f"cents.{change}.{text}"):
                    by_string({text: value}, _MOST_STRINGS)
            cents[change] = by_string(values, _MOST_STRINGS)
    combinations = {}
    for index, combination in enumerate(fields.combinations):
        with named(path, f"combinations[{index}]"):
            combinations[frozenset(combination.changes)] = by_string(combination.cents, _MOST_STRINGS)
    return Drop(path.stem, cents, combinations, fields.title)
