"""The notes that a MIDI file plays, from when to when, and what each gets where keys follow the chord.

A note sounds as long as its key or a pedal holds it, as the rotation counts it. Times are seconds.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from itertools import groupby
from math import inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.frozen import Frozen
from tonegen.keys import midi
from tonegen.keys.chords import ChordFollower, ChordFollowing
from tonegen.keys.files import song_events
from tonegen.keys.leads import check_master, usual_following
from tonegen.keys.plan import Plan
from tonegen.keys.receivers import KeyTuning, OctaveTuning, Receiver
from tonegen.keys.rotation import is_reset
from tonegen.keys.tables import units_of_keys
from tonegen.setlist.records import Lead

DRUMS: Final = frozenset((10,))  # what is left alone unless a receiver says otherwise (General MIDI)


@dataclass(frozen=True, slots=True)
class PlayedNotes(Frozen):
    """Notes in the order in which a file strikes them.

    channels : 1 to 16. left_alone : those on channels that are not retuned, such as drums.
    """

    keys: NDArray[np.int64]
    channels: NDArray[np.int64]
    begin_seconds: NDArray[np.float64]
    end_seconds: NDArray[np.float64]
    left_alone: NDArray[np.bool_]

    def __len__(self) -> int:
        """How many."""
        return len(self.keys)


def notes_of(data: bytes, untouched: Collection[int] = DRUMS) -> PlayedNotes:
    """All notes of a Standard MIDI File.

    untouched : channels that are left alone. Raises BadValue naming the track and byte of a fault.
    """
    players = [_Hands() for _ in range(16)]
    keys: list[int] = []
    channels: list[int] = []
    begins: list[float] = []
    ends: list[float] = []
    now = 0.0

    def end(notes: Collection[int]) -> None:
        for note in notes:
            ends[note] = now

    for now, event in song_events(data):
        if event[0] == midi.SYSEX:
            if is_reset(event[:1] + event[2:]):
                for player in players:
                    end(player.all_off())
            continue
        kind, channel = event[0] & midi.KIND_BITS, event[0] & midi.CHANNEL_BITS
        player = players[channel]
        if kind == midi.NOTE_ON and event[2]:
            end(player.ended_by_striking(event[1]))
            player.down[event[1]] = len(keys)
            keys.append(event[1])
            channels.append(channel + 1)
            begins.append(now)
            ends.append(inf)
        elif kind in (midi.NOTE_ON, midi.NOTE_OFF):
            end(player.lift(event[1]))
        elif kind == midi.CONTROL:
            end(player.control(event[1], event[2]))
    number = np.array(channels, dtype=np.int64)
    return PlayedNotes(
        np.array(keys, dtype=np.int64), number, np.array(begins, dtype=np.float64),
        np.minimum(np.array(ends, dtype=np.float64), now), np.isin(number, list(untouched)),
    )  # fmt: skip


class _Hands:
    """One channel that comes in: which notes its keys and pedals hold. Each answer is what ends."""

    __slots__ = ("caught", "down", "rung", "sostenuto", "sustain")

    def __init__(self) -> None:
        self.down: dict[int, int] = {}  # key -> note
        self.rung: dict[int, int] = {}  # the same, held by a pedal alone
        self.caught: frozenset[int] = frozenset()  # notes, by the sostenuto pedal
        self.sustain = self.sostenuto = False

    def ended_by_striking(self, key: int) -> list[int]:
        """A key that is down, or rings, begins anew."""
        return [held.pop(key) for held in (self.down, self.rung) if key in held]

    def lift(self, key: int) -> list[int]:
        """The key comes up."""
        note = self.down.pop(key, None)
        if note is None:
            return []
        if self.sustain or note in self.caught:
            self.rung[key] = note
            return []
        return [note]

    def control(self, controller: int, value: int) -> list[int]:
        """A pedal moves, or the channel is told to be silent."""
        if controller == midi.SUSTAIN:
            self.sustain = value >= 64
        elif controller == midi.SOSTENUTO and (value >= 64) != self.sostenuto:
            self.sostenuto = value >= 64
            self.caught = frozenset((*self.down.values(), *self.rung.values()) if self.sostenuto else ())
        elif controller == midi.ALL_SOUND_OFF:
            return self.all_off()
        elif controller == midi.RESET_CONTROLLERS:
            self.sustain = self.sostenuto = False
            self.caught = frozenset()
        elif controller >= midi.ALL_NOTES_OFF:
            return [note for key in tuple(self.down) for note in self.lift(key)]
        return [] if self.sustain else self._let_go()

    def _let_go(self) -> list[int]:
        let = [key for key, note in self.rung.items() if note not in self.caught]
        return [self.rung.pop(key) for key in let]

    def all_off(self) -> list[int]:
        """Nothing is held any more."""
        ended = [*self.down.values(), *self.rung.values()]
        self.down, self.rung = {}, {}
        return ended


@dataclass(frozen=True, slots=True)
class FollowingNotes(Frozen):
    """What notes were given: the offset of each, 0 where it was left alone.

    held_moved_cents : the most that a note was moved after it had settled. restruck_cents : the most that a
    key moved which was struck again while the last time was remembered. event_seconds : what each chord took.
    cautions : what fell short, in sentences.
    """

    cents: NDArray[np.float64]
    held_moved_cents: float
    restruck_cents: float
    event_seconds: NDArray[np.float64]
    cautions: tuple[str, ...]


class TunedTogether:
    """Keys that a receiver tunes as one: while any of them sounds or rings, all stand where it does."""

    def __init__(self, unit_of_key: Sequence[int], release_seconds: float) -> None:
        """Nothing sounds. unit_of_key : equal for keys that are tuned as one."""
        self._unit_of_key = unit_of_key
        self._release_seconds = release_seconds
        self._sounding: dict[int, list[int]] = {}  # notes, the first one first
        self._rings: dict[int, tuple[float, float]] = {}  # until when, and at which offset

    def strike(
        self, follower: ChordFollower, struck: Sequence[tuple[int, int]], now: float
    ) -> dict[int, float]:
        """Notes and keys begin at once: their offsets, and those of all that move with them."""
        given: dict[int, float] = {}
        free: dict[int, tuple[int, int]] = {}
        first = follower.cents
        for note, key in sorted(struck, key=lambda one: one[1]):
            unit = self._unit_of_key[key]
            until, rang = self._rings.get(unit, (now, 0.0))
            if self._sounding.get(unit):
                given[note] = first[self._sounding[unit][0]]
            elif now < until:
                given[note] = rang
            elif unit not in free:
                free[unit] = note, key
        for note, key in struck:
            if note in given:
                follower.stand(note, key, given[note], now)
        given |= follower.strike(tuple(free.values()), now)
        for note, key in struck:
            unit = self._unit_of_key[key]
            if note not in given:
                given[note] = given[free[unit][0]]
                follower.stand(note, key, given[note], now)
            self._sounding.setdefault(unit, []).append(note)
        return given

    def release(self, note: int, key: int, cents: float, now: float) -> None:
        """A note ended, and rings."""
        unit = self._unit_of_key[key]
        self._sounding[unit].remove(note)
        self._rings[unit] = now + self._release_seconds, cents


def tuned_together_at(receiver: Receiver) -> TunedTogether | None:
    """What a receiver tunes as one, where that reaches notes that sound; None where nothing is."""
    if isinstance(receiver, KeyTuning | OctaveTuning) and receiver.moves_what_sounds:
        return TunedTogether(units_of_keys(receiver), receiver.release_seconds)
    return None


def follow(
    played: PlayedNotes,
    follower: ChordFollower,
    clock: Callable[[], float],
    as_one: TunedTogether | None = None,
) -> FollowingNotes:
    """Solve each instant as one: what ends at it ends before, and what begins at it begins together.

    A note that others join while it may still move is given at once what it ends up with, so that in a file
    nothing moves that sounds. clock : seconds, to see how long it takes.
    as_one : what the receiver tunes as one.
    """
    following = follower.following
    keys, begins, ends = played.keys.tolist(), played.begin_seconds.tolist(), played.end_seconds.tolist()
    ours = np.flatnonzero(~played.left_alone).tolist()
    events = [(begins[note], 1, note) for note in ours]
    events += [(ends[note], 0 if ends[note] > begins[note] else 2, note) for note in ours]
    cents = [0.0] * len(keys)
    moved = restruck = 0.0
    took = []
    last_of_key: dict[int, int] = {}
    for (now, kind), together in groupby(sorted(events), key=lambda event: event[:2]):
        notes = [note for *_, note in together]
        if kind != 1:
            for note in notes:
                follower.release(note, now)
                if as_one is not None:
                    as_one.release(note, keys[note], cents[note], now)
            continue
        begun, struck = clock(), [(note, keys[note]) for note in notes]
        given = follower.strike(struck, now) if as_one is None else as_one.strike(follower, struck, now)
        took.append(clock() - begun)
        for note, value in given.items():
            if begins[note] < now - following.settle_seconds - 1e-6:
                moved = max(moved, abs(value - cents[note]))
            cents[note] = value
    for note in ours:
        last = last_of_key.get(keys[note])
        if last is not None and begins[note] - ends[last] < following.fade_seconds:
            restruck = max(restruck, abs(cents[note] - cents[last]))
        last_of_key[keys[note]] = note
    return FollowingNotes(np.array(cents), moved, restruck, np.array(took), follower.cautions)


def _left_alone_by(receiver: Receiver) -> Collection[int]:
    """Channels whose notes it does not tune."""
    if isinstance(receiver, KeyTuning | OctaveTuning):
        return DRUMS.union(set(midi.ALL_CHANNELS).difference(receiver.midi_channels))
    return getattr(receiver, "untouched", DRUMS)


def cents_of_notes(
    data: bytes, made: Plan, lead: Lead, following: ChordFollowing | None = None
) -> tuple[tuple[float | None, ...], tuple[str, ...]]:
    """The offset of each note of a file that follows the chord, for `files.retune`, and what there is to say.

    The scale of the plan is the master: equal temperament, or the song's.
    Raises BadValue for a damaged file, or as `leads.check_master` does.
    """
    following = following or usual_following(lead)
    check_master(made, lead, following)
    played = notes_of(data, _left_alone_by(made.receiver))
    follower = ChordFollower(following, made.scale.key_cents.tolist())
    given = follow(played, follower, lambda: 0.0, tuned_together_at(made.receiver))
    cents, alone = given.cents.tolist(), played.left_alone.tolist()
    return tuple(None if left else one for one, left in zip(cents, alone, strict=True)), given.cautions
