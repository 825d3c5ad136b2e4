"""Sets from TOML: an evening's rig, what the feet do, and the songs, every name and number checked.

What only somebody who knows receivers and MIDI can tell, such as two on one channel, `keys.sets` checks.
"""

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Final

from msgspec import Meta, Struct, field

from tonegen.errors import BadPreset, BadValue
from tonegen.instrument import Instrument, TuningPoint
from tonegen.pitch import checked_reference_hz, parse_note, parse_pitch_class, parse_song_key, song_key_name
from tonegen.presets.drops import drop
from tonegen.presets.files import Fields, beside, locate, read
from tonegen.presets.instruments import instrument
from tonegen.presets.rows import Faults, in_row, placed
from tonegen.presets.temperaments import temperament
from tonegen.setlist.records import (
    ALL_KEYS,
    USUAL_AGAIN_SECONDS,
    Action,
    Anchor,
    ControlKind,
    FollowKind,
    Follows,
    Lead,
    SetControl,
    SetLights,
    SetList,
    SetReceiver,
    SetSong,
    SongSend,
)
from tonegen.temperament import EQUAL, OwnTemperament, PitchClassTemperament, on_root

PAGE: Final = "page"  # the name of the page's set list, which is no file here
Channel = Annotated[int, Meta(ge=1, le=16)]
SevenBits = Annotated[int, Meta(ge=0, le=127)]
Program = Annotated[int, Meta(ge=1, le=128)]
# What the file calls each kind of place: see `keys.guard.open_door`.
WHERE_KEYS: Final = {"midi": "port", "virtual": "virtual_port", "osc": "to"}
_DUMP: Final = ".syx"
_RELATIVE_MAJOR: Final = 3  # semitones above a minor key
_ON_KEY: Final = "key"  # "vallotti on key": built on the key of each song
_MESSAGE: Final = re.compile(r"(control|note|program|song select|show control)(?: (\d{1,3}))?")
_NUMBERS: Final = {
    ControlKind.CONTROL: (0, 119), ControlKind.NOTE: (0, 127), ControlKind.PROGRAM: (1, 128),
    ControlKind.SONG_SELECT: (0, 127), ControlKind.SHOW_CONTROL: (0, 127),
}  # fmt: skip
# What these do comes with the message, so that `does` is left out; they have no channel either.
_BY_ITSELF: Final = {ControlKind.SONG_SELECT: Action.NUMBER, ControlKind.SHOW_CONTROL: Action.SHOW}
DOES: Final = (Action.NEXT, Action.PREVIOUS, Action.NUMBER, Action.HOLD, Action.PANIC)
_PEDALS: Final = (64, 66, 67)  # sustain, sostenuto, soft: MIDI 1.0, table III
# Devices of Show Control, and the number that means all; between them lie groups (RP-002).
_LAST_DEVICE: Final = 111
_ALL_DEVICES: Final = 127


class SetReceiverFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[receivers]]: one of port, virtual_port and to says where it is."""

    name: Annotated[str, Meta(min_length=1, max_length=40)]
    receiver: str
    port: str | None = None
    virtual_port: str | None = None
    to: str | None = None
    from_channels: list[Channel] = []
    from_keys: str | None = None
    transpose: Annotated[int, Meta(ge=-60, le=60)] = 0
    follows: str | None = None
    follow: str = Lead.OFF


class SetControlFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[controls]]: `on` is the message, `does` what it does, or `moves` the pedal or lever that it is."""

    from_port: str = field(name="from", default="")
    on: str
    channel: Channel | None = None
    does: str | None = None
    moves: str | None = None
    device: SevenBits | None = None


class SongSendFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[songs.sends]]: a program change with its bank, or any bytes, to one receiver."""

    to: str
    program: Program | None = None
    bank: tuple[SevenBits, SevenBits] | None = None
    channel: Channel | None = None
    bytes: str = ""


class SetSongFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[[songs]]: what is not given stays as it is; a number not given is one more than the last."""

    name: Annotated[str, Meta(min_length=1, max_length=80)]
    number: Annotated[int, Meta(ge=1, le=9999)] | None = None
    key: str | None = None
    fret: float | None = None
    follows: dict[str, str] = {}
    sends: list[SongSendFields] = []
    grips: list[str] | None = None
    line: Annotated[str, Meta(max_length=200)] = ""


class SetLightsFields(Struct, forbid_unknown_fields=True, kw_only=True):
    """[lights]: the port that they are at, and the number of their device in Show Control."""

    port: Annotated[str, Meta(min_length=1)]
    device: SevenBits


class SetFields(Fields, kw_only=True):
    """presets/sets/. A file that it names by a relative path is looked for beside it."""

    instrument: str | None = None
    temperament: str = EQUAL.name
    root: str | None = None
    drop: str | None = None
    reference_hz: float | None = None
    anchor: str = Anchor.ROOT
    again_seconds: Annotated[float, Meta(ge=0, le=10)] = USUAL_AGAIN_SECONDS
    jumps_at_once: bool = False
    receivers: Annotated[list[SetReceiverFields], Meta(max_length=64)] = []
    controls: Annotated[list[SetControlFields], Meta(max_length=200)] = []
    lights: SetLightsFields | None = None
    songs: Annotated[list[SetSongFields], Meta(min_length=1, max_length=1000)]


def set_list(name: str) -> SetList:
    """The set of that name or file. Raises BadPreset with the file, its line, the row and the key."""
    evening, faults = set_and_faults(name)
    if evening is None:
        raise BadPreset(faults[0])
    return evening


def set_and_faults(name: str) -> tuple[SetList | None, Faults]:
    """The set of that name or file; none where anything is wrong with it, and then what, for every row.

    Raises BadPreset where there is no such set.
    """
    path = locate("sets", name)
    faults = Faults()
    with faults.noted():
        found = _set(read(path, SetFields, placed), path, faults)
    return (None if faults else found), faults


def _set(fields: SetFields, path: Path, faults: Faults) -> SetList:
    with in_row(path, "anchor"):
        if fields.anchor not in {*Anchor}:
            known = ", ".join(Anchor)
            raise BadValue(
                f'"{fields.anchor[:40]}" is not a note that can stand at equal; write one of: {known}'
            )
    with in_row(path, "reference_hz"):
        if fields.reference_hz is not None:
            checked_reference_hz(fields.reference_hz)
    steel_name, steel, root = _steel(fields, path)
    receivers: list[SetReceiver] = []
    for index, one in enumerate(fields.receivers):
        with faults.noted():
            receivers.append(_receiver(one, f"receivers[{index}]", steel, fields, path))
    names = [one.name for one in fields.receivers]
    _named_once(names, "receivers", "name", path, faults)
    controls: dict[int, SetControl] = {}
    for index, control in enumerate(fields.controls):
        with faults.noted():
            controls[index] = _control(control, f"controls[{index}]", steel, path)
    _claimed_once(controls, path, faults)
    lights = None
    if fields.lights is not None:
        with faults.noted(), in_row(path, "lights.device"):
            _check_device(fields.lights.device)
            lights = SetLights(fields.lights.port, fields.lights.device)
    songs: list[SetSong] = []
    numbers: list[int] = []
    for index, song in enumerate(fields.songs):
        numbers.append(song.number or (numbers[-1] + 1 if numbers else 1))
        with faults.noted():
            songs.append(_song(song, numbers[-1], f"songs[{index}]", steel, names, path))
    _named_once([song.name for song in fields.songs], "songs", "name", path, faults)
    _named_once(numbers, "songs", "number", path, faults)
    return SetList(
        name=path.stem,
        title=fields.title,
        songs=tuple(songs),
        receivers=tuple(receivers),
        controls=tuple(controls.values()),
        lights=lights,
        instrument=steel_name,
        temperament=beside(path, fields.temperament),
        root=root,
        drop=None if fields.drop is None else beside(path, fields.drop),
        reference_hz=fields.reference_hz,
        anchor=Anchor(fields.anchor),
        again_seconds=fields.again_seconds,
        jumps_at_once=fields.jumps_at_once,
        file=str(path),
    )


def _steel_name(fields: SetFields, path: Path) -> str:
    """The instrument by name or file: the one given, else that of the temperament; "" for none."""
    if fields.instrument is not None:
        return beside(path, fields.instrument)
    with in_row(path, "temperament"):
        chosen = temperament(beside(path, fields.temperament))
    return chosen.instrument_name if isinstance(chosen, OwnTemperament) else ""


def _steel(fields: SetFields, path: Path) -> tuple[str, Instrument | None, int | None]:
    """The instrument's name and itself, and the root that the temperament is given; all may be none."""
    name = _steel_name(fields, path)
    with in_row(path, "instrument"):
        steel = instrument(name) if name else None
    with in_row(path, "temperament"):
        chosen = temperament(beside(path, fields.temperament))
        if steel is not None:
            chosen.offset_cents(steel, TuningPoint(1))  # says so where it belongs to another instrument
    with in_row(path, "root"):
        root = None if fields.root is None else parse_pitch_class(fields.root)
        on_root(chosen, root)
    with in_row(path, "drop"):
        if fields.drop is not None:
            if steel is None:
                raise BadValue("a drop needs an instrument; name one, or leave the drop out")
            drop(beside(path, fields.drop)).checked_on(steel)
    return name, steel, root


def _receiver(
    fields: SetReceiverFields, row: str, steel: Instrument | None, whole: SetFields, path: Path
) -> SetReceiver:
    with in_row(path, f"{row}.receiver"):
        preset = beside(path, fields.receiver)
        locate("receivers", preset)
    with in_row(path, row):
        where = _where(fields)
    with in_row(path, f"{row}.from_keys"):
        zone = ALL_KEYS if fields.from_keys is None else _zone(fields.from_keys)
    with in_row(path, f"{row}.follow"):
        if fields.follow not in {*Lead}:
            raise BadValue(f'"{fields.follow[:40]}" leads no chord; write one of: {", ".join(Lead)}')
        lead = Lead(fields.follow)
    with in_row(path, f"{row}.follows"):
        if fields.follows is not None:
            follows = _follows(fields.follows, steel, path)
        elif lead is Lead.BASS:
            follows = Follows(FollowKind.TEMPERAMENT, EQUAL.name)
        elif steel is not None:
            follows = Follows(FollowKind.STEEL)
        else:
            root = None if whole.root is None else parse_pitch_class(whole.root)
            follows = Follows(FollowKind.TEMPERAMENT, beside(path, whole.temperament), root)
    with in_row(path, f"{row}.follow"):
        if lead is Lead.STEEL and steel is None:
            raise BadValue("there is no steel in this set that could lead; give the set an instrument")
    return SetReceiver(
        fields.name,
        preset,
        where,
        follows,
        tuple(fields.from_channels),
        zone,
        fields.transpose,
        lead,
    )


def _where(fields: SetReceiverFields) -> str:
    given = [f"{kind} {place}" for kind, key in WHERE_KEYS.items() if (place := getattr(fields, key))]
    if len(given) != 1:
        raise BadValue(
            'say where it is: port = "Piano" for a MIDI port (or virtual_port, which is made for it), '
            'or to = "127.0.0.1:9000" for OSC; one of these'
        )
    return given[0]


def _zone(text: str) -> tuple[int, int]:
    low, to, high = text.partition(" to ")
    if not to:
        raise BadValue(f'"{text}" is not a zone; write its lowest and highest note, such as "C2 to B3"')
    zone = parse_note(low), parse_note(high)
    if zone[0] > zone[1]:
        raise BadValue(f'"{text}" goes downward; write the lowest note first')
    return zone


def _follows(text: str, steel: Instrument | None, path: Path) -> Follows:
    """What a receiver follows, as it is written. Raises BadValue or BadPreset."""
    if text == FollowKind.STEEL:
        if steel is None:
            raise BadValue("there is no steel in this set; give the set an instrument, or name a temperament")
        return Follows(FollowKind.STEEL)
    if text.lower().endswith(_DUMP):
        dump = path.parent / text
        if not dump.is_file():
            raise BadValue(f"{dump}: no such file")
        return Follows(FollowKind.DUMP, str(dump))
    name, on, root = text.rpartition(" on ") if " on " in text else (text, "", "")
    name = beside(path, name)
    if not isinstance(temperament(name), PitchClassTemperament):
        raise BadValue(
            f'{name} belongs to an instrument; write "steel" to follow it, '
            "or name a temperament that goes by notes"
        )
    if root == _ON_KEY:
        return Follows(FollowKind.TEMPERAMENT, name, on_key=True)
    return Follows(FollowKind.TEMPERAMENT, name, parse_pitch_class(root) if on else None)


def _control(fields: SetControlFields, row: str, steel: Instrument | None, path: Path) -> SetControl:
    with in_row(path, f"{row}.on"):
        kind, number = _message(fields.on)
    with in_row(path, f"{row}.device"):
        if (kind is ControlKind.SHOW_CONTROL) != (fields.device is not None):
            raise BadValue(
                "show control needs the number of its device, 0 to 111, or 127 for all"
                if fields.device is None
                else "goes with show control only; leave it out"
            )
        if fields.device is not None:
            _check_device(fields.device)
    with in_row(path, f"{row}.channel"):
        if fields.channel is not None and kind in _BY_ITSELF:
            raise BadValue(f"{kind} has no channel; leave it out")
    action, change = _does(fields, kind, number, row, steel, path)
    return SetControl(fields.from_port, kind, action, number, fields.channel, change, fields.device)


def _check_device(device: int) -> None:
    if _LAST_DEVICE < device < _ALL_DEVICES:
        raise BadValue(f"{device} is a group; give a device of 0 to 111, or 127 for all")


def _does(
    fields: SetControlFields,
    kind: ControlKind,
    number: int | None,
    row: str,
    steel: Instrument | None,
    path: Path,
) -> tuple[Action, str]:
    """What a control does, and the pedal or lever that it moves."""
    if fields.moves is not None:
        with in_row(path, f"{row}.moves"):
            if fields.does is not None:
                raise BadValue("goes alone: a control that is a pedal or lever does nothing else")
            if kind is not ControlKind.CONTROL:
                raise BadValue(f"a {kind} cannot be a pedal or lever, only a controller such as control 20")
            if steel is None:
                raise BadValue("moves a pedal or lever of an instrument; give the set one")
            steel.change(fields.moves)
        return Action.MOVE, fields.moves
    with in_row(path, f"{row}.does"):
        if kind in _BY_ITSELF:
            if fields.does is not None:
                raise BadValue(f"{kind} says itself what is to be done; leave does out")
            return _BY_ITSELF[kind], ""
        known = ", ".join(DOES)
        if fields.does is None:
            raise BadValue(f"say what it does: {known}; or give moves, the pedal or lever that it is")
        if fields.does not in DOES:
            raise BadValue(f'"{fields.does[:40]}" is nothing that a control does; write one of: {known}')
        action = Action(fields.does)
        if action is Action.NUMBER and (kind is not ControlKind.PROGRAM or number is not None):
            raise BadValue('number comes with a program change; write on = "program"')
        if action is not Action.NUMBER and kind is ControlKind.PROGRAM and number is None:
            raise BadValue(f'any program would do {action}; write which, on = "program 5"')
    return action, ""


def _message(text: str) -> tuple[ControlKind, int | None]:
    """Which message a control is, and its number. Raises BadValue."""
    found = _MESSAGE.fullmatch(text)
    if not found:
        raise BadValue(
            f'"{text[:40]}" is no message of a control; write "control 80", "note 36", "program", '
            '"program 5", "song select" or "show control"'
        )
    kind, number = ControlKind(found[1]), None if found[2] is None else int(found[2])
    lowest, highest = _NUMBERS[kind]
    if kind in _BY_ITSELF and number is not None:
        raise BadValue(f'"{text}": {kind} has no number here; write "{kind}"')
    if kind in (ControlKind.CONTROL, ControlKind.NOTE) and number is None:
        raise BadValue(f'"{text}" needs a number, {lowest} to {highest}, such as "{kind} 80"')
    if number is not None and not lowest <= number <= highest:
        raise BadValue(f'"{text}" does not exist; {kind} goes from {lowest} to {highest}')
    return kind, number


def _claimed_once(controls: Mapping[int, SetControl], path: Path, faults: Faults) -> None:
    """Note where one message would do two things, or is the sustain pedal of who plays."""
    for index, one in controls.items():
        with faults.noted(), in_row(path, f"controls[{index}].on"):
            if not one.from_port and one.kind is ControlKind.CONTROL and one.number in _PEDALS:
                raise BadValue(
                    f"control {one.number} is a pedal of the keyboard that you play; "
                    "take another, or say from which port it comes"
                )
            for earlier, other in controls.items():
                if earlier < index and _may_be_the_same(one, other):
                    raise BadValue(
                        f"{_said(one)} is claimed twice, also by row {earlier + 1}; "
                        "one control does one thing"
                    )


def _may_be_the_same(one: SetControl, other: SetControl) -> bool:
    ports = one.from_port.casefold(), other.from_port.casefold()
    same_port = ports[0] == ports[1] or (all(ports) and (ports[0] in ports[1] or ports[1] in ports[0]))
    return (
        same_port
        and one.kind is other.kind
        and (one.number == other.number or None in (one.number, other.number))
        and (one.channel == other.channel or None in (one.channel, other.channel))
        and (one.device == other.device or _ALL_DEVICES in (one.device, other.device))
    )


def _said(one: SetControl) -> str:
    number = "" if one.number is None else f" {one.number}"
    return f"{one.kind}{number}{f' from {one.from_port}' if one.from_port else ''}"


def _song(
    fields: SetSongFields,
    number: int,
    row: str,
    steel: Instrument | None,
    known: Sequence[str],
    path: Path,
) -> SetSong:
    with in_row(path, f"{row}.key"):
        key, minor = (None, False) if fields.key is None else parse_song_key(fields.key)
    with in_row(path, f"{row}.fret"):
        key, fret = _bar(key, minor, fields.fret, steel)
    follows: dict[str, Follows] = {}
    for name, text in fields.follows.items():
        with in_row(path, f"{row}.follows"):
            _check_known(name, known)
            follows[name] = _follows(text, steel, path)
    sends: dict[str, list[SongSend]] = defaultdict(list)
    for index, send in enumerate(fields.sends):
        with in_row(path, f"{row}.sends[{index}].to"):
            _check_known(send.to, known)
        sends[send.to] += _sends(send, index, f"{row}.sends[{index}]", path)
    with in_row(path, f"{row}.grips"):
        for grip in fields.grips or ():
            if steel is None:
                raise BadValue("grips need an instrument; give the set one")
            steel.grip(grip)
    grips = None if fields.grips is None else tuple(fields.grips)
    sent = {name: tuple(each) for name, each in sends.items()}
    return SetSong(fields.name, number, key, fret, follows, sent, grips, fields.line, minor)


def _bar(
    key: int | None, minor: bool, fret: float | None, steel: Instrument | None
) -> tuple[int | None, float | None]:
    """Key and fret, one from the other. Raises BadValue where they disagree.

    A minor key is played at the fret of its own root, or at that of its relative major.
    """
    if steel is None:
        if fret is not None:
            raise BadValue("a fret needs an instrument; give the set one, or the song a key")
        return key, None
    if fret is None:
        return key, None if key is None else float(steel.checked_fret(steel.fret_of_key(key)))
    steel.checked_fret(fret)
    there = (steel.root + int(fret)) % 12 if fret == int(fret) else None
    if key is not None and minor and there == (key + _RELATIVE_MAJOR) % 12:
        return key, float(fret)
    if key is not None and key != there:
        lowest = steel.fret_of_key(key)
        said = song_key_name(key, minor)
        plays = f"is {song_key_name(there)}" if there is not None else "is between two keys"
        raise BadValue(
            f"key and fret disagree: {said} is at fret {lowest} or 12 higher, fret {fret:g} {plays}"
        )
    return there, float(fret)


def _sends(fields: SongSendFields, index: int, row: str, path: Path) -> list[SongSend]:
    with in_row(path, f"{row}.bank"):
        if fields.bank is not None and fields.program is None:
            raise BadValue("a bank is chosen together with a program; give program as well")
    with in_row(path, f"{row}.bytes"):
        try:
            other = bytes.fromhex(fields.bytes)
        except ValueError:
            raise BadValue(f'"{fields.bytes[:60]}" is not hex; write such as "B0 07 64"') from None
    with in_row(path, row):
        if fields.program is None and not other:
            raise BadValue("says nothing to send; give program or bytes")
        if fields.program is None and fields.channel is not None:
            raise BadValue("bytes name their own channel; leave channel out")
    program = SongSend(fields.program, fields.bank, fields.channel, row=index)
    others = [SongSend(other=other, row=index)] if other else []
    return others if fields.program is None else [program, *others]


def _check_known(name: str, known: Sequence[str]) -> None:
    if name not in known:
        there = ", ".join(known) or "none yet"
        raise BadValue(f'there is no receiver "{name[:40]}" in this set; there are: {there}')


def _named_once(values: Sequence[object], rows: str, key: str, path: Path, faults: Faults) -> None:
    seen: dict[object, int] = {}
    for index, value in enumerate(values):
        first = seen.setdefault(value, index)
        with faults.noted(), in_row(path, f"{rows}[{index}].{key}"):
            if first != index:
                raise BadValue(f"{value} is taken by row {first + 1} already; give each its own")
