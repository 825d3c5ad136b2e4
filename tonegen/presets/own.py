"""The player's own presets: stored so that what the player wrote into the file by hand stays.

Comments, order and further fields of a file that is there already survive; only the figures change. A file
is written beside its place and renamed into it, so that it is never half written.
"""

import json
import os
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final, TypeVar

from tonegen.drop import NO_DROP, Drop
from tonegen.dropfit.fit import DropFit, FittedCombination
from tonegen.errors import BadPreset, BadValue, CannotWrite
from tonegen.instrument import Instrument, TuningPoint
from tonegen.pitch import song_key_name
from tonegen.presets.drops import DropFields, drop_from
from tonegen.presets.files import (
    SHIPPED,
    Title,
    is_file_name,
    is_in_library,
    listed,
    locate,
    own_folder,
    read,
    readable,
)
from tonegen.presets.instruments import instrument
from tonegen.presets.sets import DOES, PAGE, set_list
from tonegen.presets.temperaments import TemperamentFields, temperament_from
from tonegen.presets.tunings import instrument_of, tuning
from tonegen.setlist.records import Action, SetList
from tonegen.temperament import OwnTemperament, Temperament
from tonegen.tunings.records import StoredTuning
from tonegen.writing import written_whole

Preset = TypeVar("Preset")

_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,59}")
_DECIMALS: Final = 4  # of a cent: a hundredth of what any meter shows


def saved_temperament(name: str, instrument_name: str) -> OwnTemperament | None:
    """The player's own temperament that one of this name will be saved over; None where there is none.

    Raises BadValue for a name that is no name, or that of a preset that comes with the program, or of a
    temperament of another kind or instrument; BadPreset for a file that is broken.
    """
    path = own_place("temperaments", name)
    there = _read_before(path, _temperament) if path.exists() else None
    if there is None:
        return None
    if isinstance(there, OwnTemperament) and there.instrument_name == instrument_name:
        return there
    whose = there.instrument_name if isinstance(there, OwnTemperament) else "no instrument, but to notes"
    raise BadValue(
        f'"{name}" already exists and belongs to {whose}, and was left alone; save under another name'
    )


def save_temperament(own: OwnTemperament) -> Path:
    """Store offsets as the player's own temperament under its name; every command then takes that name.

    Points of a file that is there already and that `own` says nothing about stay as they are, and so do those
    of which nobody asked anything. What it was made with is remembered.
    Raises what saved_temperament raises, and CannotWrite.
    """
    saved_temperament(own.name, own.instrument_name)
    path = own_place("temperaments", own.name)
    document = _document(path)
    document.setdefault("title", own.title or own.name)
    document["instrument"] = own.instrument_name
    for field, value in asdict(own.context).items():
        if value is not None:
            document[field] = value
    _update_points(document, own)
    _write(path, _toml(document))
    return path


def saved_drop(name: str, instrument: Instrument) -> Drop:
    """The profile that one of this name will be saved over; no drop where there is none.

    Raises BadValue for a bad name, or that of a profile of another instrument; BadPreset for a file that is
    broken.
    """
    path = own_place("drops", name)
    return _read_before(path, lambda there: _drop_of(there, instrument)) if path.exists() else NO_DROP


def save_drop(drop: Drop, instrument: Instrument, gone: Iterable[FittedCombination] = ()) -> Path:
    """Store a drop profile under its name; what a file that is there says of other strings and changes stays.

    gone : of a string with changes together nothing is said any more, since they are the sum of their drops.
    Raises what saved_drop raises, and CannotWrite.
    """
    saved_drop(drop.name, instrument)
    path = own_place("drops", drop.name)
    document = _document(path)
    document.setdefault("title", drop.title or drop.name)
    cents = document.setdefault("cents", {})
    for change, values in drop.cents.items():
        table = cents.setdefault(change, {})
        for string, value in values.items():
            table[str(string)] = _rounded(value)
    _update_combinations(document, drop)
    for combination in gone:
        _forget_combination(document, combination)
    _write(path, _toml(document))
    return path


def save_fitted_drop(fit: DropFit, name: str) -> tuple[Path, tuple[FittedCombination, ...]]:
    """Store what readings tell as the player's own profile, and which combinations of it they took back.

    Raises what save_drop raises.
    """
    gone = fit.contradicted(saved_drop(name, fit.instrument))
    return save_drop(fit.profile(name), fit.instrument, gone), gone


def copy_preset(kind: str, name: str, new_name: str) -> Path:
    """Copy a preset, byte for byte, into the player's own folder under another name.

    Raises BadPreset for one that is not there, cannot be read or is given as a file; BadValue for a name that
    is no name or is taken; CannotWrite.
    """
    if is_file_name(name):
        raise BadPreset(f'"{name}" is a file; give a name, such as those of: tonegen list {kind}')
    path = locate(kind, name)
    if is_in_library(path):
        raise BadPreset(
            f"{name} is in the library of tunings; copy it so: tonegen copy tuning {name} {new_name}"
        )
    place = _free_place(kind, new_name)
    read(path, Title)
    _write(place, path.read_bytes())
    return place


def text_like(kind: str, name: str) -> str:
    """The text of a listed preset, to make one's own of; a tuning of the library as an instrument's file.

    Raises BadPreset.
    """
    path = listed(kind, name)
    if is_in_library(path):
        return _instrument_toml(instrument_of(tuning(name, path)))
    return readable(path)


def save_text(kind: str, name: str, text: str) -> None:
    """Store a preset's text, which was checked, as the player's own. Raises BadValue, CannotWrite."""
    _write(own_place(kind, name), text.encode())


def save_songs(evening: SetList, new_name: str) -> Path:
    """Store the songs of a set with their keys as a set of the player's own, receivers to be written into it.

    Raises BadValue for a name that is no name or is taken; CannotWrite.
    """
    from tomlkit import comment, document, nl

    place = _free_place("sets", new_name)
    written = document()
    head: dict[str, str | float | None] = {
        "title": evening.title,
        "instrument": evening.instrument,
        "temperament": evening.temperament,
        "root": None if evening.root is None else song_key_name(evening.root),
        "drop": evening.drop,
        "reference_hz": evening.reference_hz,
    }
    for field, value in head.items():
        if value:
            written[field] = value
    written.add(nl())
    written.add(comment("Write your receivers and controls here, as demo-dance-night has them."))
    songs = _entries(written, "songs")
    for song in evening.songs:
        key = {} if song.key is None else {"key": song_key_name(song.key, song.minor)}
        _added(songs, {"name": song.name, **key})
    _write(place, _toml(written))
    return place


def save_receiver(
    new_name: str, like: str, fields: Mapping[str, float | str | Mapping[str, float]], *, force: bool = False
) -> Path:
    """Store a receiver of the player's own: the file of another with these fields, its comments kept.

    fields : by their names; a mapping becomes a table of its own. force : replace one of that name.
    Raises BadPreset where the other cannot be read; BadValue for a name that is no name or is taken;
    CannotWrite.
    """
    place = check_free("receivers", new_name, force=force)
    document = _document(locate("receivers", like))
    tables = {name: value for name, value in fields.items() if isinstance(value, Mapping)}
    for name, value in fields.items():
        if name not in tables:
            document[name] = value
    for name, each in tables.items():
        document.pop(name, None)
        document.add(name, _table(each))
    _write(place, _toml(document))
    return place


def _table(values: Mapping[str, float]) -> Any:
    from tomlkit import table

    made = table()
    made.update(values)
    return made


def check_control(name: str, does: str) -> None:
    """See that a control that does this could be written into a set, before anybody presses it.

    Raises BadPreset for a set with a fault; BadValue for one that comes with the program, and for what no
    control of it does.
    """
    path, evening = locate("sets", name), set_list(name)
    if path.is_relative_to(SHIPPED):
        raise BadValue(f"{name} comes with the program; copy it first: tonegen copy set {name} my-evening")
    changes = [one.name for one in instrument(evening.instrument).changes] if evening.instrument else []
    if does not in (*DOES, *changes):
        moves = f"; or a pedal or lever, {', '.join(changes)}" if changes else ""
        raise BadValue(f'"{does[:40]}" is nothing that a control does; give one of: {", ".join(DOES)}{moves}')


def save_control(name: str, fields: Mapping[str, str | int]) -> Path:
    """Write a control into a set of the player's own, or into a file; all else in it stays, comments too.

    One that did the same from the same port, by whichever part of its name, is replaced. Raises BadValue as
    `check_control` does; BadPreset where the set would be wrong with it, and leaves it as it was then;
    CannotWrite.
    """
    check_control(name, str(fields.get("does", fields.get("moves", Action.NUMBER))))
    path = locate("sets", name)
    document = _document(path)
    entries = _entries(document, "controls")
    for entry in entries:
        same_port = _is_part(entry.get("from", ""), str(fields.get("from", "")))
        if same_port and all(entry.get(field) == fields.get(field) for field in ("does", "moves")):
            for field in ("on", "channel"):
                entry.pop(field, None)
                if field in fields:
                    entry[field] = fields[field]
            break
    else:
        _added(entries, fields)
    with written_whole(path, force=True) as beside:
        beside.write_bytes(_toml(document))
        try:
            set_list(str(beside))
        except BadPreset as error:
            raise BadPreset(str(error).replace(str(beside), str(path))) from None
    return path


def _is_part(named: str, port: str) -> bool:
    """Whether a file's name for a port, or a part of it, means this one; "" is the keyboard."""
    return named.casefold() in port.casefold() if named else not port


def copy_tuning(tuning: StoredTuning, new_name: str) -> tuple[Path, Path]:
    """Copy a tuning into the player's own folder, as an instrument and as a scene of its grips.

    Raises BadPreset for a tuning without strings; BadValue for a name that is no name or is taken;
    CannotWrite.
    """
    instrument = instrument_of(tuning)
    places = _free_place("instruments", new_name), _free_place("scenes", new_name)
    _write(places[0], _instrument_toml(instrument).encode())
    _write(places[1], _scene_toml(instrument, new_name).encode())
    return places


def _instrument_toml(instrument: Instrument) -> str:
    notes = [instrument.note(TuningPoint(string.number)) for string in instrument.strings]
    lines = [*_head(instrument), f'root = "{instrument.root_name}"']
    lines += ["flats = true"] if instrument.flats else []
    lines += ["", "# String 1, the highest course, first.", "strings = ["]
    lines += [*(f'    {{ open = "{note}" }},' for note in notes), "]"]
    for grip in instrument.grips:
        roles = ", ".join(
            f'{string} = "{role}"' for string, role in zip(grip.strings, grip.roles, strict=True)
        )
        lines += ["", "[[grips]]", f'name = "{grip.name}"', f'root = "{grip.root}"', f"roles = {{ {roles} }}"]
    return "\n".join([*lines, ""])


def _scene_toml(instrument: Instrument, new_name: str) -> str:
    lines = [
        *_head(instrument),
        "",
        f'instrument = "{new_name}"',
        "",
        "# Grips that you play: add, weigh, take away.",
    ]
    for grip in instrument.grips:
        lines += ["", "[[grips]]", f'name = "{grip.name}"']
    return "\n".join([*lines, ""])


def _head(instrument: Instrument) -> list[str]:
    source = f"copied from the tuning {instrument.name}: {instrument.source}"
    return [f"title = {_quoted(instrument.title)}", f"source = {_quoted(source)}", ""]


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)  # what JSON quotes, TOML reads as the same text


def check_free(kind: str, new_name: str, *, force: bool = False) -> Path:
    """Where a new preset will lie. Raises BadValue for a name that is no name, or is taken unless force."""
    place = own_place(kind, new_name)
    if os.path.lexists(place) and not force:
        raise BadValue(
            f'"{new_name}" already exists, and was left alone; choose another name, or add --force'
        )
    return place


def _free_place(kind: str, new_name: str) -> Path:
    place = own_place(kind, new_name)
    if os.path.lexists(place):
        raise BadValue(f'"{new_name}" already exists, and was left alone; copy to another name')
    return place


def _update_combinations(document: Any, drop: Drop) -> None:
    if not drop.combinations:
        return
    entries = _entries(document, "combinations")
    for names, cents in drop.combinations.items():
        entry = next((each for each in entries if set(each["changes"]) == names), None)
        if entry is None:
            entry = _added(entries, {"changes": sorted(names), "cents": {}})
        for string, value in cents.items():
            entry["cents"][str(string)] = _rounded(value)


def _forget_combination(document: Any, gone: FittedCombination) -> None:
    entries = document.get("combinations", [])
    for index in reversed(range(len(entries))):
        if set(entries[index]["changes"]) == set(gone.changes):
            entries[index]["cents"].pop(str(gone.string), None)
            if not entries[index]["cents"]:
                del entries[index]


def _update_points(document: Any, own: OwnTemperament) -> None:
    entries, left = _entries(document, "points"), dict(own.offsets_cents)
    for entry in entries:
        written = TuningPoint(entry["string"], tuple(entry.get("changes", [])), entry.get("travel", 1.0))
        point = next((each for each in left if each.is_same_stop(written)), None)
        if point is None:
            continue
        cents = left.pop(point)
        if point in own.not_asked:
            entry["asked"] = False
        else:
            entry["offset_cents"] = _rounded(cents)
            entry.pop("asked", None)
    for point, cents in left.items():
        fields: dict[str, Any] = {"string": point.string}
        if point.changes:
            fields["changes"] = list(point.changes)
        if point.travel != 1:
            fields["travel"] = point.travel
        fields["offset_cents"] = _rounded(cents)
        if point in own.not_asked:
            fields["asked"] = False
        _added(entries, fields)


def _entries(document: Any, name: str) -> Any:
    """An array of tables in the file; a new one, after an empty line, where there is none."""
    from tomlkit import aot, nl

    if name not in document:
        document.add(nl())
        document[name] = aot()
    return document[name]


def _added(entries: Any, fields: Mapping[str, Any]) -> Any:
    """One more table at the end, as it stands in the file."""
    from tomlkit import item, table

    entry = table()
    for field, value in fields.items():
        entry[field] = item(value)
    entries.append(entry)
    return entries[-1]


def _rounded(cents: float) -> float:
    return round(cents, _DECIMALS) + 0.0


def own_place(kind: str, name: str) -> Path:
    """Where a preset of the player's own lies. Raises BadValue for a name that it cannot have."""
    if not _NAME.fullmatch(name):
        raise BadValue(f'"{name}" cannot be used as a name; use letters, digits, - and _, such as my-e9')
    if (SHIPPED / kind / f"{name}.toml").is_file() or name == "none" or (kind, name) == ("sets", PAGE):
        raise BadValue(f'"{name}" comes with the program; save under another name, such as my-{name}')
    return own_folder() / kind / f"{name}.toml"


def _document(path: Path) -> Any:
    """The file as it was written, which was read as a preset before; an empty one where there is none."""
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    if not path.exists():
        return tomlkit.document()
    try:
        return tomlkit.parse(path.read_bytes().decode("utf-8-sig"))
    except TOMLKitError as error:
        raise BadPreset(f"{path}: {error}; fix or remove it before saving under its name") from None


def _read_before(path: Path, reading: Callable[[Path], Preset]) -> Preset:
    """What is in the file that is saved over. Raises BadPreset for one that is broken."""
    try:
        return reading(path)
    except BadPreset as error:
        raise BadPreset(f"{error}; fix or remove it before saving under its name") from None


def _temperament(path: Path) -> Temperament:
    return temperament_from(read(path, TemperamentFields), path)


def _drop_of(path: Path, instrument: Instrument) -> Drop:
    there = drop_from(read(path, DropFields), path)
    try:
        return there.checked_on(instrument)
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
