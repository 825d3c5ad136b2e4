"""Scenes and drop profiles while they are typed: their fields, and what one more row of each begins with."""

from typing import Any, Final

from tonegen.errors import BadValue
from tonegen.presets.drafts import Reads, Sheet, Way, put

SCENE_READS: Final[dict[str, Reads]] = {
    "title": "text",
    "source": "text",
    "instrument": "text",
    "drop": "text",
    "reference_hz": "number",
    "before": "text",
    "pull": "number",
    "within_cents": "number",
    "grips[].name": "text",
    "grips[].root": "text",
    "grips[].roles": "pairs",
    "grips[].ratios": "pairs",
    "grips[].strings": "numbers",
    "grips[].changes": "texts",
    "grips[].travels": "travels",
    "grips[].weight": "number",
    "grips[].frets": "numbers",
    "grips[].within_cents": "number",
    "pins[].string": "whole",
    "pins[].changes": "texts",
    "pins[].travels": "travels",
    "pins[].cents": "number",
    "limits[].string": "whole",
    "limits[].changes": "texts",
    "limits[].travels": "travels",
    "limits[].from_cents": "number",
    "limits[].to_cents": "number",
    "band[].name": "text",
    "band[].plays": "text",
    "band[].weight": "number",
    "band[].temperament": "text",
    "band[].temperament_root": "text",
    "band[].lowest": "text",
    "band[].strings": "numbers",
    "band[].grips": "names",
}
SCENE_FROM_NOTHING: Final = 'title = "My scene"\n\ninstrument = "e9-ten-string"\n'
_OF_SCENE: Final[dict[str, dict[str, Any]]] = {
    "grips": {"name": ""},
    "pins": {"string": 1, "cents": 0},
    "limits": {"string": 1, "from_cents": -10, "to_cents": 10},
    "band": {"name": "bass", "plays": "root"},
}

DROP_READS: Final[dict[str, Reads]] = {
    "title": "text",
    "source": "text",
    "cents.*.*": "number",
    "combinations[].changes": "texts",
    "combinations[].cents": "travels",
}
DROP_FROM_NOTHING: Final = """\
title = "My cabinet"

# In cents, by change, then by string; negative when a string sags.
[cents]
"""
_OF_DROP: Final[dict[str, dict[str, Any]]] = {"combinations": {"changes": [], "cents": {}}}


def put_scene(sheet: Sheet, way: Way, kind: Reads, typed: str) -> None:
    """Write what was typed into a field of a scene."""
    put(sheet, way, kind, typed)
    match way:
        case ("grips", int(at), "root") if not typed.strip():
            del sheet.rows("grips")[at]["root"]  # a grip by its name on the instrument has none


def add_to_scene(sheet: Sheet, way: Way) -> None:
    """One more grip, pin, limit or part of the band."""
    _add(sheet, way, _OF_SCENE)


def put_drop(sheet: Sheet, way: Way, kind: Reads, typed: str) -> None:
    """Write what was typed into a field of a drop profile; a change of which nothing is said goes."""
    put(sheet, way, kind, typed)
    cents = sheet.values.setdefault("cents", {})
    if way[0] == "cents" and not cents.get(way[1], True):
        del cents[way[1]]


def add_to_drop(sheet: Sheet, way: Way) -> None:
    """One more combination."""
    _add(sheet, way, _OF_DROP)


def _add(sheet: Sheet, way: Way, new: dict[str, dict[str, Any]]) -> None:
    if len(way) != 1 or way[0] not in new:
        raise BadValue("there are no such rows")
    sheet.add(str(way[0]), dict(new[str(way[0])]))


def take_row_out(sheet: Sheet, way: Way) -> None:
    """Take a row out. Raises BadValue where there is none."""
    match way:
        case (str(rows), int(at)) if at < len(sheet.values.get(rows, [])) and rows in sheet.was:
            sheet.take_out(rows, at)
        case _:
            raise BadValue("there is no such row any more; it was changed meanwhile")


def move_row(sheet: Sheet, way: Way, to: int) -> None:
    """Move a row among its own. Raises BadValue where there is none."""
    match way:
        case (str(rows), int(at)) if at < len(sheet.values.get(rows, [])) and rows in sheet.was:
            sheet.move(rows, at, max(0, min(to, len(sheet.rows(rows)) - 1)))
        case _:
            raise BadValue("there is no such row any more; it was changed meanwhile")
