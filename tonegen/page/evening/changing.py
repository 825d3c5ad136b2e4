"""A set changed on the page: its rows as they are typed, and what of that is to be written.

What was not typed anew is not written anew: a row goes by what it was shown as.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import msgspec
from msgspec import Struct
from msgspec.structs import asdict as fields_of

from tonegen import presets
from tonegen.errors import TonegenError
from tonegen.keys.press_reader import press_in_words
from tonegen.page.asked import RowFault
from tonegen.page.evening.asks import ControlRow, Door, ReceiverRow, SaveSet, SongRow
from tonegen.page.setting import Setting
from tonegen.pitch import parse_song_key, song_key_name
from tonegen.presets.files import SHIPPED, read
from tonegen.presets.set_file import FieldFault, RowChange, change_set, stamp_of
from tonegen.presets.sets import PAGE, SetControlFields, SetFields, SetReceiverFields, SetSongFields
from tonegen.setlist.records import Lead
from tonegen.setup.setting import Song

_DOORS: tuple[Door, ...] = ("port", "virtual_port", "to")


class SetRows(Struct, tag="setrows", frozen=True):
    """A set to be changed.

    may : what can be: "all", only the "songs" of the page's list, or only a "copy" of it
    faults : of what was asked to be written, and was not
    by : who asked; it is for that page alone, since others may be typing
    """

    name: str
    may: str
    stamp: str
    title: str
    songs: tuple[SongRow, ...]
    receivers: tuple[ReceiverRow, ...]
    controls: tuple[ControlRow, ...]
    presets: tuple[str, ...]
    leads: tuple[str, ...] = ()
    faults: tuple[RowFault, ...] = ()
    by: str = ""


class PressLearned(Struct, tag="presslearned", frozen=True):
    """A press that was learnt, as a row has it; `on` is "" where none came.

    by : who asked. waits : now it is heard.
    """

    by: str
    on: str = ""
    from_port: str = ""
    channel: str = ""
    words: str = ""
    waits: bool = False


def press_learned(by: str, fields: Mapping[str, str | int] | str | None) -> PressLearned:
    """What the page is told of a press, or that there was none, or why."""
    if fields is None or isinstance(fields, str):
        return PressLearned(by, words=fields or "Nothing was pressed.")
    on, port, channel = (str(fields.get(field, "")) for field in ("on", "from", "channel"))
    words = f"{press_in_words(fields)}. Save the set to keep it"
    theirs = f'; if "{port}" is the keyboard that you play, leave From port empty' if port else ""
    return PressLearned(by, on, port, channel, f"{words}{theirs}.")


def rows_of_page(setting: Setting) -> SetRows:
    """The page's own list."""
    songs = tuple(
        SongRow(at, song.name, song_key_name(song.key, song.minor)) for at, song in enumerate(setting.songs)
    )
    stamp = hashlib.sha256(msgspec.json.encode(setting.songs)).hexdigest()[:16]
    return SetRows(PAGE, "songs", stamp, "", songs, (), (), ())


def rows_of_file(name: str) -> SetRows:
    """A set as its file says it. Raises BadPreset."""
    path = presets.listed("sets", name)
    found = read(path, SetFields)
    return SetRows(
        name,
        "copy" if path.is_relative_to(SHIPPED) else "all",
        stamp_of(path),
        found.title,
        tuple(_song_row(at, song) for at, song in enumerate(found.songs)),
        tuple(_receiver_row(at, one) for at, one in enumerate(found.receivers)),
        tuple(_control_row(at, one) for at, one in enumerate(found.controls)),
        presets.names("receivers"),
        tuple(Lead),
    )


def songs_of_page(asked: SaveSet) -> tuple[tuple[Song, ...], tuple[RowFault, ...]]:
    """The page's list as it is typed, or what is wrong with it."""
    songs: list[Song] = []
    faults: list[RowFault] = []
    names: set[str] = set()
    for at, row in enumerate(asked.songs):
        name = row.name.strip()
        if not name or name in names:
            why = f"{name} is there already; give each its own" if name else "a song needs a name"
            faults.append(RowFault(f"songs[{at}].name", why))
        names.add(name)
        try:
            songs.append(Song(name, *parse_song_key(row.key)))
        except TonegenError as error:
            faults.append(RowFault(f"songs[{at}].key", str(error)))
    return tuple(songs), tuple(faults)


def write(name: str, asked: SaveSet) -> tuple[RowFault, ...]:
    """Write it, or say what is wrong. Raises what change_set raises."""
    before = rows_of_file(name)
    faults: list[RowFault] = []
    songs = [_song_change(row, before.songs, f"songs[{at}]", faults) for at, row in enumerate(asked.songs)]
    receivers = [
        _receiver_change(row, before.receivers, f"receivers[{at}]", faults)
        for at, row in enumerate(asked.receivers)
    ]
    controls = [
        _control_change(row, before.controls, f"controls[{at}]", faults)
        for at, row in enumerate(asked.controls)
    ]
    if faults:
        return tuple(faults)
    title = {} if asked.title == before.title else {"title": asked.title}
    rows = {"songs": songs, "receivers": receivers, "controls": controls}
    return tuple(_shown(one) for one in change_set(name, asked.stamp, title, rows))


def _shown(fault: FieldFault) -> RowFault:
    return RowFault(**asdict(fault))


def _song_row(at: int, song: SetSongFields) -> SongRow:
    fret = "" if song.fret is None else f"{song.fret:g}"
    follows = ", ".join(f"{name}: {what}" for name, what in song.follows.items())
    return SongRow(at, song.name, song.key or "", fret, follows, song.line, ", ".join(song.grips or ()))


def _receiver_row(at: int, one: SetReceiverFields) -> ReceiverRow:
    door = next((door for door in _DOORS if getattr(one, door)), _DOORS[0])
    return ReceiverRow(
        at,
        one.name,
        one.receiver,
        door,
        getattr(one, door) or "",
        ", ".join(map(str, one.from_channels)),
        one.from_keys or "",
        str(one.transpose) if one.transpose else "",
        one.follows or "",
        one.follow,
    )


def _control_row(at: int, one: SetControlFields) -> ControlRow:
    channel, device = ("" if number is None else str(number) for number in (one.channel, one.device))
    return ControlRow(at, one.on, one.from_port, one.does or "", one.moves or "", channel, device)


def _song_change(row: SongRow, before: tuple[SongRow, ...], where: str, faults: list[RowFault]) -> RowChange:
    typed = _typed_anew(row, before)
    fields: dict[str, Any] = {}
    for field, text in typed.items():
        match field:
            case "fret":
                fields[field] = _number(text, float, f"{where}.{field}", faults)
            case "follows":
                fields[field] = _follows(text, f"{where}.{field}", faults)
            case "grips":
                fields[field] = _listed(text)
            case _:
                fields[field] = text or None
    return RowChange(None if row.was < 0 else row.was, _named(fields, typed))


def _receiver_change(
    row: ReceiverRow, before: tuple[ReceiverRow, ...], where: str, faults: list[RowFault]
) -> RowChange:
    typed = _typed_anew(row, before)
    fields: dict[str, Any] = {}
    for field, text in typed.items():
        match field:
            case "door" | "where":
                fields |= {door: row.where or None if door == row.door else None for door in _DOORS}
            case "follow":
                fields[field] = None if text == Lead.OFF else text
            case "from_channels":
                channels = [_number(one, int, f"{where}.{field}", faults) for one in _listed(text) or ()]
                fields[field] = channels or None
            case "transpose":
                fields[field] = _number(text, int, f"{where}.{field}", faults)
            case _:
                fields[field] = text or None
    return RowChange(None if row.was < 0 else row.was, _named(fields, typed))


def _control_change(
    row: ControlRow, before: tuple[ControlRow, ...], where: str, faults: list[RowFault]
) -> RowChange:
    typed = _typed_anew(row, before)
    fields: dict[str, Any] = {}
    for field, text in typed.items():
        match field:
            case "from_port":
                fields["from"] = text or None
            case "on":
                fields[field] = text  # an empty one is refused where it is read
            case "channel" | "device":
                fields[field] = _number(text, int, f"{where}.{field}", faults)
            case _:
                fields[field] = text or None
    return RowChange(None if row.was < 0 else row.was, fields)


def _typed_anew(row: Struct, before: tuple[Struct, ...]) -> dict[str, str]:
    """The fields of a row that are not as they were shown; of a new one all that there is."""
    typed = {field: text.strip() for field, text in fields_of(row).items() if field != "was"}
    was: int = fields_of(row)["was"]
    if not 0 <= was < len(before):
        return {field: text for field, text in typed.items() if text or field in ("name", "on")}
    there = fields_of(before[was])
    return {field: text for field, text in typed.items() if text != there[field]}


def _named(fields: dict[str, Any], typed: Mapping[str, str]) -> dict[str, Any]:
    """A row never goes without a name: an empty one is refused where it is read."""
    return fields | ({"name": typed["name"]} if "name" in typed else {})


def _follows(text: str, where: str, faults: list[RowFault]) -> dict[str, str] | None:
    """What receivers follow, "Organ: equal, Piano: steel"."""
    follows = {}
    for part in _listed(text) or ():
        name, colon, what = (piece.strip() for piece in part.partition(":"))
        if not (name and colon and what):
            faults.append(RowFault(where, f'"{part[:40]}": write such as Organ: equal, Piano: vallotti on G'))
            return None
        follows[name] = what
    return follows or None


def _listed(text: str) -> list[str] | None:
    return [part.strip() for part in text.split(",") if part.strip()] or None


def _number(text: str, kind: type, where: str, faults: list[RowFault]) -> float | int | None:
    if not text:
        return None
    try:
        number = kind(text.replace("\N{MINUS SIGN}", "-"))
        return int(number) if number == int(number) else float(number)
    except (ValueError, OverflowError):  # such as nan and inf
        faults.append(RowFault(where, f'"{text[:40]}" is no number'))
        return None
