"""An open set as pages show it: the song now, the next one, and whether the rig is the set's."""

from collections.abc import Mapping, Sequence
from typing import Any, Literal

from msgspec import Struct

from tonegen.page.setting import Setting
from tonegen.pitch import song_key_name
from tonegen.setlist.records import SetList
from tonegen.setlist.states import SongState

RigStatus = Literal["", "begins", "played", "ends"]


class EveningSong(Struct, frozen=True):
    """A song as it stands when it is played: what it does not name is as it was before it.

    fret : "" where the set has no instrument, or nobody has said a key yet
    """

    number: int
    name: str
    key: str
    fret: str
    line: str


class EveningView(Struct, tag="evening", frozen=True):
    """The set that is open. `now` and `next` are numbers of songs: 0 before the first, and after the last.

    words : what is wrong with the file, or became of the last press; rig : what the page's differs in
    """

    name: str
    title: str
    songs: tuple[EveningSong, ...]
    now: int
    next: int
    words: str
    rig: str


class ReceiverStanding(Struct, frozen=True):
    """A receiver of the set. `state` is "" where it is not played; `waits_for` are notes that are held."""

    name: str
    receiver: str
    where: str
    state: Literal["", "ready", "going", "gone"]
    waits_for: tuple[str, ...] = ()


class RigView(Struct, tag="setrig", frozen=True):
    """The receivers of the open set, and the MIDI inputs that they may be played from."""

    status: RigStatus
    receivers: tuple[ReceiverStanding, ...]
    inputs: tuple[str, ...] = ()


def receiver_views(evening: SetList, state: Mapping[str, Any] | None) -> tuple[ReceiverStanding, ...]:
    """The receivers of a set, in its order, as `Evening.state` has them; None while it is not played."""
    there = {} if state is None else {one["name"]: one for one in state["receivers"]}
    return tuple(
        ReceiverStanding(
            one.name,
            one.receiver,
            one.where.partition(" ")[2],
            there[one.name]["state"] if one.name in there else "",
            tuple(there[one.name]["waits_for"]) if one.name in there else (),
        )
        for one in evening.receivers
    )


def song_view(state: SongState, has_fret: bool) -> EveningSong:
    """A song of a set; `has_fret` where the set is one with an instrument."""
    bar = f"{state.fret:g}" if has_fret and names_bar(state) else ""
    return EveningSong(state.song.number, state.song.name, state.key_name, bar, state.song.line)


def names_bar(state: SongState) -> bool:
    """Whether this song, or one before it, says where the bar goes."""
    return state.key is not None or state.fret != 0 or state.song.fret is not None


def other_rig(evening: SetList, setting: Setting) -> str:
    """What the set has otherwise than the page, in words; "" where the two agree."""
    root = "its own root" if evening.root is None else f"root {song_key_name(evening.root)}"
    said = (
        (evening.instrument, setting.instrument, evening.instrument),
        (evening.temperament, setting.temperament, evening.temperament),
        (evening.root, setting.root, root),
        (evening.drop, setting.drop, f"drop {evening.drop}"),
        (evening.reference_hz, setting.reference_hz, f"A4 = {evening.reference_hz or 0:g} Hz"),
    )
    left_open = ("", None)  # but for the root, where nothing said is the instrument's own
    return ", ".join(
        words
        for wanted, there, words in said
        if wanted != there and (words is root or wanted not in left_open)
    )


def views(states: Sequence[SongState], evening: SetList) -> tuple[EveningSong, ...]:
    """The songs of a set, in its order."""
    return tuple(song_view(state, bool(evening.instrument)) for state in states)
