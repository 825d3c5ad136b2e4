"""A steel while it is typed: what a field of its preset takes along elsewhere in it.

A string that goes, or another name of a pedal, is followed in all that mentions it. Where a change is moved
says who moves it: "pedal 2" is the foot's, "left knee up" the left knee's.
"""

import re
from collections.abc import Iterator
from typing import Any, Final

from tonegen.errors import BadValue
from tonegen.pitch import note_name, parse_note
from tonegen.presets.drafts import Reads, Sheet, Way, put
from tonegen.presets.instruments import NAME_OF_CHANGE

READS: Final[dict[str, Reads]] = {
    "title": "text",
    "source": "text",
    "root": "text",
    "scale_length_inches": "number",
    "frets": "whole",
    "flats": "yes",
    "strings[].open": "text",
    "strings[].gauge_inches": "number",
    "strings[].wound": "yes",
    "strings[].core_inches": "number",
    "strings[].stiffness": "number",
    "strings[].begins_at_fret": "whole",
    "changes[].name": "text",
    "changes[].place": "text",
    "changes[].moves.*": "whole",
    "changes[].half_stops.*[][0]": "number",
    "changes[].half_stops.*[][1]": "number",
    "changes[].half_stops.*[][2]": "text",
    "body.foot": "texts",
    "body.left_knee": "texts",
    "body.right_knee": "texts",
    "body.together[]": "texts",
    "exclusive[]": "texts",
    "splits[].changes": "texts",
    "splits[].moves.*": "whole",
    "grips[].name": "text",
    "grips[].root": "text",
    "grips[].changes": "texts",
    "grips[].roles": "pairs",
    "grips[].ratios": "pairs",
}

FROM_NOTHING: Final = """\
title = "My steel"
root = "E"
scale_length_inches = 24

# String 1, the highest course, first.
strings = [
    { open = "E4" },
]
"""

# Where changes are, and what they are called until the player says otherwise; common practice, no source.
PLACES: Final = {
    "pedal 1": "A", "pedal 2": "B", "pedal 3": "C",
    "left knee left": "LKL", "left knee right": "LKR", "left knee up": "LKV",
    "right knee left": "RKL", "right knee right": "RKR",
    **{f"pedal {number}": f"P{number}" for number in range(4, 11)},
    "right knee up": "RKV",
}  # fmt: skip
_PEDAL: Final = re.compile(r"pedal (\d+)")


def put_steel(sheet: Sheet, way: Way, kind: Reads, typed: str) -> None:
    """Write what was typed into a field, and what goes along with it."""
    match way:
        case ("changes", int(at), "name"):
            _rename(sheet, _row(sheet, "changes", at), typed.strip())
        case ("changes", int(at), "place"):
            change = _row(sheet, "changes", at)
            put(sheet, way, kind, typed)
            _take_place(sheet, change["name"])
        case ("changes", int(at), "moves", str(string)):
            change = _row(sheet, "changes", at)
            put(sheet, way, kind, typed)
            if string not in change["moves"]:
                _forget(change, "half_stops", string)
        case ("strings", int(at), "open"):
            row, note = _row(sheet, "strings", at), typed.strip()
            row["open"] = _raised(row.get("open", ""), int(note)) if note in ("+1", "-1") else note
        case _:
            put(sheet, way, kind, typed)


def put_notes(sheet: Sheet, typed: str) -> None:
    """The notes of all strings in one line, from string 1; there are then as many strings."""
    notes = typed.replace(",", " ").split()
    if not notes:
        raise BadValue("type the note of each string, from string 1, such as F#4 D#4 G#4 E4")
    while len(sheet.rows("strings")) > len(notes):
        take_out_string(sheet, len(sheet.rows("strings")) - 1)
    for at, note in enumerate(notes):
        if at == len(sheet.rows("strings")):
            sheet.add("strings", {})
        sheet.rows("strings")[at]["open"] = note


def add_to_steel(sheet: Sheet, way: Way) -> None:
    """One more: a string, a change, a half-stop, a split, a grip, or a list of changes."""
    match way:
        case ("strings",):
            last = sheet.rows("strings")[-1:] or [{"open": "E4"}]
            sheet.add("strings", {"open": last[0].get("open", "E4")})
        case ("changes",):
            taken = {change.get("name") for change in sheet.rows("changes")}
            there = {change.get("place") for change in sheet.rows("changes")}
            free = (
                (place, name) for place, name in PLACES.items() if place not in there and name not in taken
            )
            place, name = next(free, ("", _free_name("X", taken)))
            sheet.add("changes", {"name": name, **({"place": place} if place else {}), "moves": {}})
            _take_place(sheet, name)
        case ("splits",):
            names = [change.get("name") for change in sheet.rows("changes")]
            sheet.add("splits", {"changes": names[:2], "moves": {}})
        case ("grips",):
            taken = {grip.get("name") for grip in sheet.rows("grips")}
            root = sheet.values.get("root", "C")
            sheet.add("grips", {"name": _free_name("Grip ", taken), "root": root, "roles": {}})
        case ("exclusive",):
            sheet.values.setdefault("exclusive", []).append([])
        case ("body", "together"):
            sheet.values.setdefault("body", {}).setdefault("together", []).append([])
        case ("changes", int(at), "half_stops", str(string)):
            _half_stop(_row(sheet, "changes", at), string)
        case _:
            raise BadValue("there are no such rows")


def take_out_of_steel(sheet: Sheet, way: Way) -> None:
    """Take one out, and all that is said of it elsewhere."""
    match way:
        case ("strings", int(at)):
            _row(sheet, "strings", at)
            take_out_string(sheet, at)
        case ("changes", int(at)):
            name = _row(sheet, "changes", at).get("name")
            sheet.take_out("changes", at)
            _forget_change(sheet, name)
        case ("splits" | "grips" as rows, int(at)):
            _row(sheet, rows, at)
            sheet.take_out(rows, at)
        case ("exclusive", int(at)):
            _delete(sheet.values.get("exclusive", []), at)
        case ("body", "together", int(at)):
            _delete(sheet.values.get("body", {}).get("together", []), at)
        case ("changes", int(change), "half_stops", str(string), int(at)):
            row = _row(sheet, "changes", change)
            stops = row.get("half_stops", {}).get(string, [])
            _delete(stops, at)
            if not stops:
                _forget(row, "half_stops", string)
        case _:
            raise BadValue("there are no such rows")


def move_in_steel(sheet: Sheet, way: Way, to: int) -> None:
    """The same row in another place: strings take along what is said of them."""
    match way:
        case ("strings" | "changes" | "splits" | "grips" as rows, int(at)):
            _row(sheet, rows, at)
            to = max(0, min(to, len(sheet.rows(rows)) - 1))
            sheet.move(rows, at, to)
            if rows == "strings":
                order = list(range(1, len(sheet.rows(rows)) + 1))
                order.insert(to, order.pop(at))
                _renumber(sheet, {before: after for after, before in enumerate(order, start=1)})
        case _:
            raise BadValue("there are no such rows")


def take_out_string(sheet: Sheet, at: int) -> None:
    """A string goes; those below it count one less."""
    count = len(sheet.rows("strings"))
    sheet.take_out("strings", at)
    _renumber(
        sheet, {number: number - (number > at + 1) for number in range(1, count + 1) if number != at + 1}
    )


def _raised(note: Any, semitones: int) -> str:
    """A note so many semitones higher; one that is none yet raises BadValue."""
    return note_name(parse_note(str(note)) + semitones, flats="b" in str(note)[1:])


def _row(sheet: Sheet, rows: str, at: int) -> dict[str, Any]:
    if at >= len(sheet.rows(rows)):
        raise BadValue("there is no such row any more; it was changed meanwhile")
    return sheet.rows(rows)[at]


def _delete(rows: list[Any], at: int) -> None:
    if at >= len(rows):
        raise BadValue("there is no such row any more; it was changed meanwhile")
    del rows[at]


def _forget(row: dict[str, Any], field: str, key: str) -> None:
    if field in row:
        row[field].pop(key, None)
        if not row[field]:
            del row[field]


def _free_name(base: str, taken: set[Any]) -> str:
    return next(name for number in range(1, 1000) if (name := f"{base}{number}") not in taken)


def _mappings(sheet: Sheet) -> Iterator[tuple[dict[str, Any], str]]:
    """Everything that goes by strings, and where it stands."""
    for rows, fields in (
        ("changes", ("moves", "half_stops")),
        ("splits", ("moves",)),
        ("grips", ("roles", "ratios")),
    ):
        for row in sheet.values.get(rows, []):
            for field in fields:
                if isinstance(row.get(field), dict):
                    yield row, field


def _renumber(sheet: Sheet, numbers: dict[int, int]) -> None:
    for row, field in _mappings(sheet):
        row[field] = {
            str(numbers[int(text)]) if text.isdigit() and int(text) in numbers else text: value
            for text, value in row[field].items()
            if not text.isdigit() or int(text) in numbers or int(text) > len(numbers) + 1
        }
        if not row[field] and field in ("half_stops", "ratios"):
            del row[field]


def _lists(sheet: Sheet) -> Iterator[list[Any]]:
    """Every list of names of changes."""
    body = sheet.values.get("body", {})
    yield from (body[limb] for limb in ("foot", "left_knee", "right_knee") if limb in body)
    yield from body.get("together", [])
    yield from sheet.values.get("exclusive", [])
    for rows in ("splits", "grips"):
        yield from (
            row["changes"] for row in sheet.values.get(rows, []) if isinstance(row.get("changes"), list)
        )


def _rename(sheet: Sheet, change: dict[str, Any], name: str) -> None:
    """Raises BadValue for a name that is none, or another's, which would lose what goes by the old one."""
    before = change.get("name")
    if name == before:
        return
    if not re.fullmatch(NAME_OF_CHANGE, name) or len(name) > 12:
        raise BadValue("a pedal's or lever's name is a letter, then letters and digits, 12 at most")
    if any(other.get("name") == name for other in sheet.rows("changes")):
        raise BadValue(f"{name} is taken by another; give each its own")
    change["name"] = name
    for names in _lists(sheet):
        names[:] = [name if one == before else one for one in names]


def _forget_change(sheet: Sheet, name: Any) -> None:
    """What cannot be without it goes as well; grips stay, and are told to be wrong."""
    for at in reversed(range(len(sheet.values.get("splits", [])))):
        if name in sheet.values["splits"][at].get("changes", []):
            sheet.take_out("splits", at)
    body = sheet.values.get("body", {})
    for limb in ("foot", "left_knee", "right_knee"):
        if limb in body:
            body[limb] = [one for one in body[limb] if one != name]
    for lists, field in ((sheet.values, "exclusive"), (body, "together")):
        if field in lists:
            lists[field] = [group for group in lists[field] if name not in group]
            if not lists[field]:
                del lists[field]


def _limb_of(place: str) -> str:
    """Who moves what is there; "" for neither.

    >>> _limb_of("pedal 4"), _limb_of("left knee right, the B6 lock"), _limb_of("a lever with a lock")
    ('foot', 'left_knee', '')
    """
    if _PEDAL.match(place):
        return "foot"
    return next(
        (limb for limb in ("left_knee", "right_knee") if place.startswith(limb.replace("_", " "))), ""
    )


def _take_place(sheet: Sheet, name: str) -> None:
    """The body of foot and knees as the places of the changes have it.

    Where there was none yet it is made of all of them.
    """
    places = {change.get("name"): str(change.get("place", "")) for change in sheet.rows("changes")}
    known = "body" in sheet.values
    body = sheet.values.setdefault("body", {})
    for one in [name] if known else list(places):
        for limb in ("foot", "left_knee", "right_knee"):
            if one in body.get(limb, []):
                body[limb].remove(one)
        if limb := _limb_of(places[one]):
            body.setdefault(limb, []).append(one)
    if _PEDAL.match(places[name]):
        body["foot"].sort(key=lambda one: _pedal_number(places.get(one, "")))
    for limb in ("foot", "left_knee", "right_knee"):
        if not body.get(limb, [""]):
            del body[limb]
    if not body:
        del sheet.values["body"]


def _pedal_number(place: str) -> int:
    found = _PEDAL.match(place)
    return int(found[1]) if found else 99


def _half_stop(change: dict[str, Any], string: str) -> None:
    by = change.get("moves", {}).get(string)
    if not isinstance(by, int) or not by:
        raise BadValue(f"string {string} has no move here yet; say first how far it goes")
    stops = change.setdefault("half_stops", {}).setdefault(string, [])
    last = stops[-1][0] if stops else 0.0
    travel = round((last + 1) / 2, 3) if isinstance(last, int | float) else 0.5
    stops.append([travel, round(100 * by * travel)])
