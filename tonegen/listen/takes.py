"""Two takes of one tune compared: which notes are the same, and by how much each moved from one to the other.

Notes are told apart where strings are picked, and where the pitch goes elsewhere, as bowed and barred notes
do. They are paired in their order (S. B. Needleman and C. D. Wunsch, J. Mol. Biol. 48, 1970, from memory);
each pair is compared partial by partial.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.frozen import Frozen
from tonegen.listen.noise import HIGHEST_OF_RATE
from tonegen.listen.picks import ATTACK_SECONDS, PickFinder
from tonegen.listen.spectrum import spectrum

Array = NDArray[np.float64]

SHORTEST_SECONDS: Final = 0.3
LONGEST_SECONDS: Final = 2.0
MOST_SEMITONES: Final = 1.0  # a take further off as a whole was recorded, or is played, at another rate
_WINDOW_SECONDS: Final = 0.12
_HOP_SECONDS: Final = 0.04
_LOWEST_HZ: Final = 58.0
_SEMITONES: Final = 54
_STEPS: Final = 6  # a semitone
_PARTIALS: Final = 8
_PADDING: Final = 4
_OVER_MEDIAN: Final = 30.0
_PITCHED: Final = 1.0  # of the score, below which nothing of a pitch is heard
_STAYS_SEMITONES: Final = 0.6
_SAME_SEMITONES: Final = 0.6
_OTHER_COST: Final = 1.5
_OCTAVE_COST: Final = 0.3
_GAP_COST: Final = 0.7
_SPACING_COST: Final = 0.4  # a second
_SHIFTS: Final = np.arange(-6, 6.25, 0.5)


@dataclass(frozen=True, slots=True)
class TakenNote:
    """A note of a take. seconds : when it begins; first, end : the frames in which it sounds by itself.

    key : the nearest MIDI key and what it is off, roughly.
    """

    seconds: float
    first: int
    end: int
    key: float


class NoteFinder:
    """Finds the notes of a sound that comes in blocks of any size; it keeps a number for each 40 ms."""

    def __init__(self, sample_rate: int) -> None:
        """Take the rate at which blocks come."""
        self._rate = sample_rate
        self._picks = PickFinder(sample_rate)
        self._starts: list[int] = []
        self._length, self._hop = round(_WINDOW_SECONDS * sample_rate), round(_HOP_SECONDS * sample_rate)
        self._window = np.hanning(self._length)
        self._padded = 1 << int(np.ceil(np.log2(self._length * _PADDING)))
        self._cents = np.arange(_SEMITONES * _STEPS) * 100 / _STEPS
        hz = _LOWEST_HZ * np.exp2(self._cents / 1200)
        at = np.outer(hz, np.arange(1, _PARTIALS + 1))
        self._heard = at < HIGHEST_OF_RATE * sample_rate
        last = self._padded // 2
        self._on = np.minimum(np.rint(at * self._padded / sample_rate).astype(np.intp), last)
        between = np.outer(hz, np.arange(1, _PARTIALS + 1) - 0.5)
        self._between = np.minimum(np.rint(between * self._padded / sample_rate).astype(np.intp), last)
        self._left = np.zeros(0)
        self._keys: list[Array] = []

    def feed(self, block: Array) -> None:
        """Take the next block, shape (frames,)."""
        self._starts += self._picks.feed(block)
        sound = np.concatenate([self._left, block])
        count = max(0, (len(sound) - self._length) // self._hop + 1)
        for index in range(count):
            part = sound[index * self._hop :][: self._length]
            self._keys.append(np.array(self._key(part)))
        self._left = sound[count * self._hop :]

    def _key(self, part: Array) -> float:
        """The key that sounds, roughly; no number where none does."""
        power = np.abs(np.fft.rfft(part * self._window, self._padded)) ** 2
        stands_out = np.log1p(power / (_OVER_MEDIAN * max(float(np.median(power)), 1e-30)))
        on = np.where(self._heard, stands_out[self._on], 0.0).mean(axis=1)
        score = on - np.where(self._heard, stands_out[self._between], 0.0).mean(axis=1)
        # Between a note and its octaves the one whose partials are strongest together.
        best = int(np.argmax(score * (1 + stands_out[self._on[:, 0]])))
        if score[best] < _PITCHED:
            return float("nan")
        return 69 + 12 * float(np.log2(_LOWEST_HZ / 440)) + float(self._cents[best]) / 100

    def notes(self) -> tuple[TakenNote, ...]:
        """All notes so far that last long enough."""
        keys = np.array([float(each) for each in self._keys])
        middle = np.arange(len(keys)) * self._hop + self._length // 2
        picked = {int(np.searchsorted(middle, start)): start for start in self._starts}
        cuts = {0, len(keys), *picked}
        begin = 0
        for at in range(1, len(keys)):
            if at in cuts:
                begin = at
            around = keys[begin:at]
            known = around[~np.isnan(around)]
            away = np.isnan(keys[at]) or (
                len(known) > 0 and abs(keys[at] - np.median(known)) > _STAYS_SEMITONES
            )
            if np.isnan(keys[at]) != np.isnan(keys[at - 1]) or (away and not np.isnan(keys[at])):
                cuts.add(at)
                begin = at
        found = []
        edges = sorted(cuts)
        for one, other in pairwise(edges):
            key = float(np.median(keys[one:other])) if other > one else float("nan")
            # A window that reaches over the edge hears both notes.
            first = picked.get(one, int(middle[one])) + round(ATTACK_SECONDS * self._rate)
            end = int(middle[other - 1]) - self._length // 4 if other < len(keys) else int(middle[-1])
            if not np.isnan(key) and end - first >= SHORTEST_SECONDS * self._rate:
                last = min(end, first + round(LONGEST_SECONDS * self._rate))
                found.append(TakenNote(first / self._rate, first, last, key))
        return tuple(found)


@dataclass(frozen=True, slots=True)
class PairedTakes(Frozen):
    """Notes of two takes that are the same. pairs : their places in each; semitones : by which all of the
    second
    lie above those of the first, to a half.
    """

    pairs: tuple[tuple[int, int], ...]
    semitones: float


def paired(first: Sequence[TakenNote], second: Sequence[TakenNote]) -> PairedTakes:
    """Which notes of two takes are the same; none where they are of different tunes.

    >>> tune = [TakenNote(n, 0, 1, key) for n, key in enumerate((60.0, 64.0, 67.0, 65.0))]
    >>> paired(tune, [tune[0], *tune[2:]]).pairs
    ((0, 0), (2, 1), (3, 2))
    """
    best: tuple[float, float, tuple[tuple[int, int], ...]] = (np.inf, 0.0, ())
    for shift in sorted(_SHIFTS, key=abs):
        cost, pairs = _aligned(first, second, float(shift))
        if cost < best[0] - 1e-9:
            best = cost, float(shift), pairs
    _, shift, pairs = best
    same = tuple(
        (one, other)
        for one, other in pairs
        if _apart(second[other].key - first[one].key - shift) <= _SAME_SEMITONES
    )
    return PairedTakes(same, shift)


def _apart(semitones: float) -> float:
    """How far two keys are apart but for octaves, which a rough look mistakes for each other."""
    return abs((semitones + 6) % 12 - 6)


def _cost(one: TakenNote, other: TakenNote, shift: float) -> float:
    semitones = abs(other.key - one.key - shift)
    if semitones <= _SAME_SEMITONES:
        return 0.1 * semitones
    return _OCTAVE_COST if _apart(semitones) <= _SAME_SEMITONES else _OTHER_COST


def _aligned(
    first: Sequence[TakenNote], second: Sequence[TakenNote], shift: float
) -> tuple[float, tuple[tuple[int, int], ...]]:
    rows, columns = len(first) + 1, len(second) + 1
    costs = np.zeros((rows, columns))
    costs[:, 0], costs[0] = np.arange(rows) * _GAP_COST, np.arange(columns) * _GAP_COST
    for one in range(1, rows):
        for other in range(1, columns):
            pair = costs[one - 1, other - 1] + _cost(first[one - 1], second[other - 1], shift)
            if one > 1 and other > 1:
                spacing = first[one - 1].seconds - first[one - 2].seconds
                spacing -= second[other - 1].seconds - second[other - 2].seconds
                pair += _SPACING_COST * min(abs(spacing), 1.0)
            costs[one, other] = min(
                pair, costs[one - 1, other] + _GAP_COST, costs[one, other - 1] + _GAP_COST
            )
    pairs, one, other = [], rows - 1, columns - 1
    while one and other:
        if costs[one, other] == costs[one - 1, other] + _GAP_COST:
            one -= 1
        elif costs[one, other] == costs[one, other - 1] + _GAP_COST:
            other -= 1
        else:
            one, other = one - 1, other - 1
            pairs.append((one, other))
    return float(costs[-1, -1]), tuple(reversed(pairs))


def would_beat(sound: Array, sample_rate: int, hz: float, cents: float) -> tuple[tuple[float, float], ...]:
    """How fast a note would beat with itself so many cents away: at its three strongest partials, loudest
    first.

    Returns the hz of each and its beats a second, positive where the note went up.
    """
    seen = spectrum(np.asarray(sound - sound.mean()), sample_rate)
    every = hz * np.arange(1, _PARTIALS + 1, dtype=np.float64)
    partials: Array = every[every < HIGHEST_OF_RATE * sample_rate]
    powers = [float(seen.power @ seen.near(partials[at : at + 1])) for at in range(len(partials))]
    loudest = np.argsort(powers)[::-1][:3]
    return tuple(
        (float(partials[at]), float(partials[at] * np.expm1(cents * log(2) / 1200))) for at in loudest
    )
