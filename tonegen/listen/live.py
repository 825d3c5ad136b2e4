"""Strings heard as they are played: samples in, block by block; readings out, soon after each pick.

One use, by whoever has the samples (a device, a file, a test):

    hearing = LiveHearing(48000, strings)        # the notes that may sound, in the state that is engaged
    for block in blocks:                         # mono, float64, of any size
        for each in hearing.feed(block):         # HeardNow: within 0.25 s of a pick, and after a second
            ...
    hearing.expect(other_strings)                # when changes move
    hearing.sounds(hz)                           # partials that the program itself plays meanwhile

Each pick is told first as soon as its string is known, then once more, for good, when it rang for a second or
the next is picked: that is what a file with the same sound would say. What cannot be read is told once, with
the reason.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.frozen import Frozen
from tonegen.listen.heard import HeardString, UnreadSound, first_look, heard
from tonegen.listen.picks import ATTACK_SECONDS, PickFinder
from tonegen.listen.spectrum import Expected

Array = NDArray[np.float64]

WHOLE_SECONDS: Final = 1.0  # of a pick: real strings fall on, however long they ring
_FIRST_SECONDS: Final = 0.17
_BEFORE_NEXT_SECONDS: Final = 0.03
_KEPT_SECONDS: Final = 2.0  # beside the pick that is listened to
_OWN_SECONDS: Final = 0.8  # before a pick, from which the program's own tones are known


@dataclass(frozen=True, slots=True)
class HeardNow(Frozen):
    """What was heard of a pick. seconds : when it was, from the first block on.

    rang_seconds : how much of it was heard. whole : whether nothing more comes of this pick.
    sound (frames,): the string by itself, as it was heard.
    """

    seconds: float
    rang_seconds: float
    whole: bool
    heard: HeardString | UnreadSound
    sound: Array


class LiveHearing:
    """Hears strings in blocks as they come; keeps a few seconds of sound, and no thread or device.

    sample_rate : at which blocks come.
    """

    def __init__(
        self, sample_rate: int, expected: Sequence[Expected], whole_seconds: float = WHOLE_SECONDS
    ) -> None:
        """Take the rate at which blocks come, and the strings as they sound at their targets.

        whole_seconds : how long a pick is listened to.
        """
        self.sample_rate = sample_rate
        self._whole_seconds = whole_seconds
        self._expected = tuple(expected)
        self._own_hz = np.zeros(0)
        self._finder = PickFinder(sample_rate)
        self._room = np.zeros(2 * round((_KEPT_SECONDS + whole_seconds) * sample_rate))
        self._filled = 0  # of the room
        self._frames = 0  # so far
        self._picked: int | None = None  # the frame of the pick that is listened to
        self._looked = False

    def expect(self, expected: Sequence[Expected]) -> None:
        """Listen for these strings from now on, as when changes move; a pick that rings is given up."""
        self._expected = tuple(expected)
        self._picked = None

    def sounds(self, hz: Array) -> None:
        """Take out these partials, which the program plays itself, shape (k,); empty when it is silent."""
        self._own_hz = np.unique(hz[hz < 0.5 * self.sample_rate])

    @property
    def kept_frames(self) -> int:
        """How much of the sound is kept."""
        return self._filled

    def feed(self, block: Array) -> tuple[HeardNow, ...]:
        """Take the next block, shape (frames,), mono. Returns what is heard anew, mostly nothing."""
        self._keep(block)
        found: list[HeardNow] = []
        for picked in self._finder.feed(block):
            found += self._whole(picked - round(_BEFORE_NEXT_SECONDS * self.sample_rate))
            self._picked, self._looked = picked, False
        if self._picked is None:
            return tuple(found)
        rang = (self._frames - self._picked) / self.sample_rate - ATTACK_SECONDS
        if rang >= self._whole_seconds:
            found += self._whole(self._frames)
        elif not self._looked and rang >= _FIRST_SECONDS:
            self._looked = True
            found += self._first()
        return tuple(found)

    def _keep(self, block: Array) -> None:
        self._frames += len(block)
        kept = len(self._room) // 2
        if self._filled + len(block) > len(self._room):
            # Seldom: what is too old goes, and the rest moves to the front.
            whole = np.concatenate([self._room[: self._filled], block])[-kept:]
            self._room[: len(whole)], self._filled = whole, len(whole)
        else:
            self._room[self._filled : self._filled + len(block)] = block
            self._filled += len(block)

    def _first(self) -> list[HeardNow]:
        """The string as far as it is known already."""
        part = self._part(self._frames)
        try:
            string = first_look(part, self.sample_rate, self._expected)
        except UnreadSound:
            return []
        return [self._now(part, False, string)]

    def _whole(self, end: int) -> list[HeardNow]:
        """All that is said of the pick that was listened to; it ends before another's."""
        if self._picked is None:
            return []
        part = self._part(end)
        found: HeardString | UnreadSound
        try:
            found = heard(part, self.sample_rate, self._expected)
        except UnreadSound as why:
            found = why
        now = self._now(part, True, found)
        self._picked = None
        return [now]

    def _now(self, part: Array, whole: bool, found: HeardString | UnreadSound) -> HeardNow:
        assert self._picked is not None
        return HeardNow(self._picked / self.sample_rate, len(part) / self.sample_rate, whole, found, part)

    def _part(self, end: int) -> Array:
        """The string by itself, from when its attack is over; the program's own tones taken out."""
        assert self._picked is not None
        kept = self._frames - self._filled
        first = max(0, self._picked + round(ATTACK_SECONDS * self.sample_rate) - kept)
        last = min(first + round(self._whole_seconds * self.sample_rate), max(first, end - kept))
        part = self._room[first:last]
        if not len(self._own_hz):
            return part
        before_end = max(0, self._picked - kept - round(_BEFORE_NEXT_SECONDS * self.sample_rate))
        before = self._room[max(0, before_end - round(_OWN_SECONDS * self.sample_rate)) : before_end]
        return without_own(
            before, part, (first - (before_end - len(before))), self._own_hz / self.sample_rate
        )


def without_own(before: Array, part: Array, later: int, cycles: Array) -> Array:
    """A sound without steady tones that were there before its string was picked; shape of part.

    before (m,): sound before the pick, which may be empty; then the tones are read from the sound itself.
    later : frames from the beginning of `before` to that of `part`. cycles (k,): of the tones, a frame.

    >>> frames = np.arange(9000)
    >>> tone = np.cos(2 * np.pi * 0.01 * frames + 1)
    >>> float(np.abs(without_own(tone[:4000], tone[5000:], 5000, np.array([0.01]))).max().round(6))
    0.0
    """
    # From before the pick: under a string that is tuned to one of the tones, the two cannot be told apart.
    known = before if len(before) * cycles.min() >= 1 and len(before) >= 4 * len(cycles) else part
    at = 0 if known is before else later
    columns = _waves(at + np.arange(len(known)), cycles)
    squares = columns.T @ columns
    squares[np.diag_indices_from(squares)] *= 1 + 1e-9
    levels = np.linalg.solve(squares, columns.T @ known)
    return np.asarray(part - _waves(later + np.arange(len(part)), cycles) @ levels)


def _waves(frames: NDArray[np.int_], cycles: Array) -> Array:
    turns = 2 * np.pi * np.mod(np.outer(frames, cycles), 1)
    return np.concatenate([np.cos(turns), np.sin(turns)], axis=1)
