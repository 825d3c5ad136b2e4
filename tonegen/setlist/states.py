"""Where everything stands in each song: what a song does not name stays as it is."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from tonegen.frozen import Frozen
from tonegen.pitch import song_key_name
from tonegen.setlist.records import Follows, SetList, SetSong, SongSend


@dataclass(frozen=True, slots=True)
class SongState(Frozen):
    """The whole state of a song, whichever song was before it.

    key : pitch class, None where nobody has said one yet. follows : of every receiver; a temperament built on
    the song's key has that as its root. sends : to every receiver that was sent something up to here: its
    program on each channel, then the bytes that were named last.
    """

    song: SetSong
    key: int | None
    fret: float
    grips: tuple[str, ...]
    follows: Mapping[str, Follows]
    sends: Mapping[str, tuple[SongSend, ...]]
    minor: bool = False

    @property
    def key_name(self) -> str:
        """The key's name, such as "Bb" or "F#m"; "" where nobody has said one yet."""
        return "" if self.key is None else song_key_name(self.key, self.minor)

    def sends_after(self, before: "SongState | None") -> dict[str, tuple[SongSend, ...]]:
        """What goes out with this song when it comes after `before`, the song played last; None at the start.

        What it names itself, each time; and all that stands in it, to a receiver where `before` leaves
        something else, as after a jump.
        """
        found = {}
        for name, wanted in self.sends.items():
            had = before.sends.get(name, ()) if before is not None else ()
            own = self.song.sends.get(name, ())
            if out := own if _kept(had, own) == wanted else wanted:
                found[name] = out
        return found


def states(evening: SetList) -> tuple[SongState, ...]:
    """The whole state of each song, in the order of the set, so that any can be gone to from any other.

    >>> waltz, polka = SetSong("Invented Waltz", 1, key=2, fret=10.0), SetSong("Invented Polka", 2)
    >>> [state.fret for state in states(SetList("demo", "Invented", (waltz, polka)))]
    [10.0, 10.0]
    """
    key: int | None = None
    minor = False
    fret = 0.0
    grips: tuple[str, ...] = ()
    follows = {one.name: one.follows for one in evening.receivers}
    sends: dict[str, tuple[SongSend, ...]] = {}
    found = []
    for song in evening.songs:
        if song.key is not None or song.fret is not None:
            key, minor, fret = song.key, song.minor, song.fret or 0.0
        grips = grips if song.grips is None else song.grips
        follows = follows | dict(song.follows)
        sends = sends | {name: _kept(sends.get(name, ()), own) for name, own in song.sends.items()}
        here = {name: replace(one, root=key) if one.on_key else one for name, one in follows.items()}
        found.append(SongState(song, key, fret, grips, here, sends, minor))
    return tuple(found)


def _kept(before: tuple[SongSend, ...], own: tuple[SongSend, ...]) -> tuple[SongSend, ...]:
    """What stands at a receiver after a song's own sends: a program until another comes to its channel, bytes
    until others are named.
    """
    channels = {one.channel for one in own if one.program is not None}
    programs = [
        one
        for one in before
        if one.program is not None and None not in channels and one.channel not in channels
    ]
    programs += [one for one in own if one.program is not None]
    others = [one for one in own if one.other] or [one for one in before if one.other]
    return (*programs, *others)
