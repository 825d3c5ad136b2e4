"""Offsets of keys that follow the chord, so that no note that sounds is moved.

At each note-on the notes that may still move take the offsets x, in cents from equal temperament, that make
least

    sum over pairs w (x_high - x_low - d)^2  +  sum over notes a (x - master)^2
    +  sum over notes h exp(-age / tau) (x - last of its class)^2

within `most_cents` of their master, and within `step_cents` of where the same key sounded less than tau ago.
d is what the just ratio of a pair asks of x_high - x_low. Notes that are held, and tones that others sound,
stand still, and their octaves follow them. All consonances weigh the same: how much two partials overlap,
1/(pq), times the squared rate of their beats is proportional to f_low f_high (x_high - x_low - d)^2 whatever
p and q are.

Numbers in, offsets out: no port, and time is the caller's. Sources of this class of methods, from memory:
W. A. Sethares, "Adaptive tunings for musical scales", J. Acoust. Soc. Am. 96 (1994); K. Stange, C. Wick and
H. Hinrichsen, "Playing music in just intonation", Computer Music Journal 42(3) (2018).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from math import exp, isfinite
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dposv  # an eighth of the time of numpy's own solver at this size

from tonegen.errors import BadValue
from tonegen.interval import Ratio
from tonegen.keys.scale import KEYS

MOST_SOLVED: Final = 16  # notes; of more, the nearest to the new one
_CROWDED: Final = (
    f"More than {MOST_SOLVED} notes sound at once; each new one follows the {MOST_SOLVED - 1} nearest to it."
)
_FEW: Final = 3  # notes that move: above, arrays are faster
_OCTAVE, _CONSONANCE, _OTHER = 4.0, 1.0, 0.1
# What each interval asks for, by its semitones above whole octaves.
JUST: Final = {
    0: Ratio(1, 1), 1: Ratio(16, 15), 3: Ratio(6, 5), 4: Ratio(5, 4), 5: Ratio(4, 3), 7: Ratio(3, 2),
    8: Ratio(8, 5), 9: Ratio(5, 3), 11: Ratio(15, 8),
}  # fmt: skip
CONSONANCES: Final = (3, 4, 5, 7, 8, 9)
# These could be either; the nearer is taken, once it is known about where the notes are.
_EITHER: Final = {
    2: (Ratio(9, 8), Ratio(10, 9)), 6: (Ratio(45, 32), Ratio(64, 45)), 10: (Ratio(9, 5), Ratio(16, 9)),
}  # fmt: skip
_AS_NEAR_CENTS: Final = 1e-9  # where both are as near, the first is taken
_LEAST_PULL: Final = 1e-6  # in place of 0: a chord that nothing holds stands where its master is
_SAME_MOMENT_SECONDS: Final = 1e-9
_ROUNDING: Final = 1e-10  # cents, and slopes of about as much: nobody is moved to and fro for less


@dataclass(frozen=True, slots=True)
class ChordFollowing:
    """How keys follow.

    bass, pull : what holds the lowest note, and the others, to their master, where a consonance weighs 1.
    memory : what holds a note to the last one of its pitch class; it fades within `fade_seconds` (tau).
    most_cents : from the master. step_cents : from where the same key sounded within tau.
    settle_seconds : how long a note may still move after it began.
    Raises BadValue for what is negative or no number.
    """

    bass: float = 1.0
    pull: float = 0.05
    memory: float = 0.1
    most_cents: float = 20.0
    step_cents: float = 12.0
    fade_seconds: float = 2.0
    settle_seconds: float = 0.03

    def __post_init__(self) -> None:
        """Check each."""
        for one in fields(self):
            value = getattr(self, one.name)
            if not (isfinite(value) and value >= 0):
                raise BadValue(f"{one.name} is {value:g}; give 0 or more")
        if not self.fade_seconds:
            raise BadValue("fade_seconds is 0; give more than 0")


def deviation_cents(ratio: Ratio) -> float:
    """What a just ratio asks of the offsets: its size beyond the nearest whole semitones.

    >>> round(deviation_cents(Ratio(5, 4)), 3)
    -13.686
    """
    return ratio.cents - 100 * round(ratio.cents / 100)


def _tables() -> NDArray[np.float64]:
    """For each pair of keys: weight, and weight times what row minus column should be; open ones apart.

    Of those: weight, and the two that row minus column could be.
    """
    tables = np.zeros((5, KEYS, KEYS))
    weight, asked, open_weight, first, second = tables
    for row in range(KEYS):
        for column in range(KEYS):
            semitones, sign = abs(row - column) % 12, 1 if row >= column else -1
            at = row, column
            if semitones in _EITHER:
                open_weight[at] = _OTHER
                first[at], second[at] = (sign * deviation_cents(one) for one in _EITHER[semitones])
                continue
            weight[at] = _OCTAVE if not semitones else _CONSONANCE if semitones in CONSONANCES else _OTHER
            asked[at] = weight[at] * sign * deviation_cents(JUST[semitones])
    return tables


_TABLES: Final = _tables()
# The same by row minus column, from -127 to 127, for few notes.
_BY_DIFFERENCE: Final = tuple((*one[0, :0:-1].tolist(), *one[:, 0].tolist()) for one in _TABLES)
_ALL_TABLES: Final = np.arange(len(_TABLES))[:, None, None]


def least(
    keys: Sequence[int],
    still_cents: Sequence[float],
    hold: Sequence[float],
    towards_cents: Sequence[float],
    low_cents: Sequence[float],
    high_cents: Sequence[float],
) -> list[float]:
    """The offsets of the first keys, those that move, that make the sum above least.

    keys : those that move, then those that stand still at `still_cents`.
    hold, towards_cents : of each that moves, the weights that hold it, added up to more than zero, and their
        mean place.
    low_cents, high_cents : of each that moves, its bounds.

    >>> a, c_sharp, e = least([57, 61, 64], [], [1, 0.05, 0.05], [0, 0, 0], [-20] * 3, [20] * 3)
    >>> round(a, 2), round(c_sharp - a, 2), round(e - a, 2)  # a fifth and a third
    (0.51, -13.3, 2.08)
    """
    moving = len(hold)
    if moving <= _FEW:
        few = _least_of_few(keys, still_cents, hold, towards_cents, low_cents, high_cents)
        if few is not None:
            return few
    every = np.array(keys)
    weight, asked, open_weight, first, second = _TABLES[_ALL_TABLES, every[:moving, None], every]
    still, held = np.array(still_cents), np.array(hold)
    wanted = np.add.reduce(asked, 1) + held * towards_cents
    bounds = low_cents, high_cents
    solved, at_bound = _bounded(weight, wanted, held, still, bounds)
    if not np.logical_or.reduce(open_weight, None):
        return list(solved.tolist())
    apart = solved[:, None] - np.concatenate((solved, still))
    nearer = np.where(abs(apart - first) <= abs(apart - second) + _AS_NEAR_CENTS, first, second)
    wanted += np.add.reduce(open_weight * nearer, 1)
    return list(_bounded(weight + open_weight, wanted, held, still, bounds, at_bound)[0].tolist())


def _least_of_few(
    keys: Sequence[int],
    still_cents: Sequence[float],
    hold: Sequence[float],
    towards_cents: Sequence[float],
    low_cents: Sequence[float],
    high_cents: Sequence[float],
) -> list[float] | None:
    """The same where no bound is reached, else None; without arrays, which cost more than few notes take."""
    weights, asked, open_weights, first, second = _BY_DIFFERENCE
    moving = len(hold)
    matrix = [[0.0] * moving for _ in hold]
    wanted = [weight * cents for weight, cents in zip(hold, towards_cents, strict=True)]
    there = [*wanted, *still_cents]  # once solved, where each is
    open_pairs = []

    def add(one: int, other: int, weight: float, weighted: float) -> None:
        matrix[one][one] += weight
        wanted[one] += weighted
        if other < moving:
            matrix[other][other] += weight
            matrix[one][other] -= weight
            matrix[other][one] -= weight
            wanted[other] -= weighted
        else:
            wanted[one] += weight * there[other]

    for one in range(moving):
        matrix[one][one] += hold[one]
        above = keys[one] + KEYS - 1
        for other in range(one + 1, len(keys)):
            apart = above - keys[other]
            if weights[apart]:
                add(one, other, weights[apart], asked[apart])
            else:
                open_pairs.append((one, other, apart))
    solved = _solved(matrix, wanted)
    for two_passes in (True, False):
        for cents, low, high in zip(solved, low_cents, high_cents, strict=True):
            if not low <= cents <= high:
                return None
        if not (two_passes and open_pairs):
            break
        there[:moving] = solved
        for one, other, apart in open_pairs:
            now, weight = there[one] - there[other], open_weights[apart]
            is_first = abs(now - first[apart]) <= abs(now - second[apart]) + _AS_NEAR_CENTS
            add(one, other, weight, weight * (first if is_first else second)[apart])
        solved = _solved(matrix, wanted)
    return solved


def _solved(matrix: list[list[float]], wanted: list[float]) -> list[float]:
    """A few symmetric equations by elimination; the diagonal outweighs the rest, so that no row need move."""
    rows = [[*row, right] for row, right in zip(matrix, wanted, strict=True)]
    count = len(rows)
    for pivot in range(count):
        row = rows[pivot]
        for below in range(pivot + 1, count):
            factor = rows[below][pivot] / row[pivot]
            rows[below] = [value - factor * above for value, above in zip(rows[below], row, strict=True)]
    solved = [0.0] * count
    for place in range(count - 1, -1, -1):
        row = rows[place]
        right = row[count] - sum(row[other] * solved[other] for other in range(place + 1, count))
        solved[place] = right / row[place]
    return solved


def _bounded(
    weight: NDArray[np.float64],
    wanted: NDArray[np.float64],
    held: NDArray[np.float64],
    still: NDArray[np.float64],
    bounds: tuple[Sequence[float], Sequence[float]],
    at_bound: NDArray[np.int8] | None = None,
) -> tuple[NDArray[np.float64], NDArray[np.int8] | None]:
    """Least squares between bounds: those free are solved, those at a bound must want to go beyond it.

    at_bound : -1 at the low one, 1 at the high one, as a similar sum had it; None where none was at one.
    Block principal pivoting; where that does not gain, the last of what is wrong changes alone, which ends
    for every such matrix. Source, from memory: Judice and Pires, Computers & Operations Research 21 (1994).
    """
    moving = len(wanted)
    matrix = -weight[:, :moving]
    matrix.ravel()[:: moving + 1] += np.add.reduce(weight, 1) + held  # a note's pair with itself cancels
    if len(still):
        wanted = wanted + weight[:, moving:].dot(still)
    if at_bound is None:
        solved: NDArray[np.float64] = dposv(matrix, wanted)[1]
        if all(low <= one <= high for one, low, high in zip(solved.tolist(), *bounds, strict=True)):
            return solved, None
    low, high = np.array(bounds)
    if at_bound is None:
        at_bound = (solved > high).astype(np.int8) - (solved < low)
    fewest, patience = moving + 1, moving
    while True:
        free = at_bound == 0
        solved = np.where(at_bound > 0, high, low)
        if free.any():
            ours = matrix[free]
            rest = wanted[free] - ours[:, ~free].dot(solved[~free])
            solved[free] = dposv(ours[:, free], rest)[1]
        slope = wanted - matrix.dot(solved)  # above zero where a note wants to go up
        above, below = free & (solved > high + _ROUNDING), free & (solved < low - _ROUNDING)
        back = at_bound * slope < -_ROUNDING
        wrong = (above | below | back).nonzero()[0]
        if not len(wrong):
            return np.minimum(np.maximum(solved, low), high), at_bound
        if len(wrong) < fewest:
            fewest, patience = len(wrong), moving
        elif patience:
            patience -= 1
        else:
            wrong = wrong[-1:]
        at_bound[wrong] = above[wrong].astype(np.int8) - below[wrong]


class _Note:
    """A note that sounds."""

    __slots__ = ("begun", "cents", "ended", "key", "last_cents", "last_key_cents")

    def __init__(self, key: int, begun: float) -> None:
        self.key = key
        self.cents = 0.0
        self.begun = begun
        self.last_cents = 0.0  # where the last note of its class was, which ended at `ended`
        self.ended = float("-inf")
        self.last_key_cents: float | None = None  # where this key was, if that is not long ago


class ChordFollower:
    """What sounds, what it was given, and what new notes get.

    A voice is any number that names a note while it sounds. crowded : whether more sounded than are solved,
    so that the farthest were left out. Times are seconds of any clock that does not run backward.
    """

    def __init__(self, following: ChordFollowing, master_cents: Sequence[float]) -> None:
        """Nothing sounds yet. master_cents : for each of 128 keys, where it stands when it is alone.

        Raises BadValue for a master that is no number, or not of 128 keys.
        """
        self.following: Final = following
        self.crowded = False
        self._notes: dict[int, _Note] = {}
        self._now = float("-inf")
        self._last_of_class: list[tuple[float, float]] = [(0.0, float("-inf"))] * 12
        self._last_of_key: list[tuple[float, float]] = [(0.0, float("-inf"))] * KEYS
        self.retune(master_cents)

    def retune(self, master_cents: Sequence[float]) -> None:
        """Have another master from the next note on; what is held stays. Raises BadValue."""
        if len(master_cents) != KEYS or not all(map(isfinite, master_cents)):
            raise BadValue(f"a master needs a number of cents for each of {KEYS} keys")
        self._master = [float(cents) for cents in master_cents]

    @property
    def cautions(self) -> tuple[str, ...]:
        """What fell short, in sentences."""
        return (_CROWDED,) if self.crowded else ()

    @property
    def cents(self) -> dict[int, float]:
        """The offset of each voice that sounds."""
        return {voice: note.cents for voice, note in self._notes.items()}

    def forget(self) -> None:
        """Nothing sounds, and nothing is remembered: after a reset."""
        self._notes.clear()
        self._last_of_class = [(0.0, float("-inf"))] * 12
        self._last_of_key = [(0.0, float("-inf"))] * KEYS

    def hold(self, voice: int) -> None:
        """This note is not to move any more, however young it is."""
        if voice in self._notes:
            self._notes[voice].begun = float("-inf")

    def join(self, voice: int, other: int) -> None:
        """A note sounds where another does that it cannot part from: it has its offset, and both stay."""
        if voice in self._notes and other in self._notes:
            self._notes[voice].cents = self._notes[other].cents
        self.hold(voice)
        self.hold(other)

    def release(self, voice: int, now: float) -> None:
        """A note ended, if it was there. Raises BadValue for time that runs backward."""
        self._pass_to(now)
        note = self._notes.pop(voice, None)
        if note is not None:
            self._last_of_class[note.key % 12] = self._last_of_key[note.key] = note.cents, now

    def strike(
        self, struck: Iterable[tuple[int, int]], now: float, others: Sequence[tuple[int, float]] = ()
    ) -> dict[int, float]:
        """Notes begin at once; the offsets of these, and of all that move with them, by voice.

        struck : voice and key of each; a voice that sounds already ends before.
        others : key and offset of each tone that others sound.
        Raises BadValue for a key beyond 0 to 127, time that runs backward, or an offset that is no number.
        """
        self._pass_to(now)
        begin = sorted(struck, key=lambda one: one[1])
        for voice, key in begin:
            if not 0 <= key < KEYS:
                raise BadValue(f"key {key} is not on the keyboard; keys go from 0 to {KEYS - 1}")
            self.release(voice, now)
        for key, cents in others:
            if not (0 <= key < KEYS and isfinite(cents)):
                raise BadValue(f"a tone of others at key {key}, {cents:g} cents, is not one")
        moved: dict[int, float] = {}
        for start in range(0, len(begin), MOST_SOLVED):
            moved |= self._begin(begin[start : start + MOST_SOLVED], now, others)
        return moved

    def _pass_to(self, now: float) -> None:
        if not now >= self._now:
            raise BadValue(f"time runs backward, from {self._now:g} to {now:g} seconds")
        self._now = now

    def _begin(
        self, struck: list[tuple[int, int]], now: float, others: Sequence[tuple[int, float]]
    ) -> dict[int, float]:
        following = self.following
        moving: list[tuple[int, _Note]] = []
        still = list(others)
        youngest = now - following.settle_seconds - _SAME_MOMENT_SECONDS
        for voice, note in self._notes.items():
            if note.begun >= youngest:
                moving.append((voice, note))
            else:
                still.append((note.key, note.cents))
        for voice, key in struck:
            note = self._notes[voice] = _Note(key, now)
            note.last_cents, note.ended = self._last_of_class[key % 12]
            last_cents, ended = self._last_of_key[key]
            if now - ended < following.fade_seconds:
                note.last_key_cents = last_cents
            moving.append((voice, note))
        lowest = min(note.key for note in self._notes.values())
        if others:
            lowest = min(lowest, min(others)[0])
        if len(moving) + len(still) > MOST_SOLVED:
            self.crowded = True
            moving, still = _nearest([key for _, key in struck], moving, still)

        by_class: dict[int, list[tuple[int, float]]] = {}
        for key, cents in still:
            by_class.setdefault(key % 12, []).append((key, cents))
        solving: list[tuple[int, _Note]] = []
        hold: list[float] = []
        towards: list[float] = []
        low: list[float] = []
        high: list[float] = []
        moved: dict[int, float] = {}
        for voice, note in moving:
            key = note.key
            master = self._master[key]
            below, above = master - following.most_cents, master + following.most_cents
            last = note.last_key_cents
            if last is not None:  # the master may have gone farther than a step meanwhile
                below, above = (
                    min(max(below, last - following.step_cents), above),
                    max(min(above, last + following.step_cents), below),
                )
            same = by_class.get(key % 12)
            if same is not None:
                wanted = min(same, key=lambda one: (abs(one[0] - key), one))[1]
                note.cents = moved[voice] = min(max(wanted, below), above)
                continue
            pull = (following.bass if key == lowest else following.pull) or _LEAST_PULL
            memory = following.memory and following.memory * exp((note.ended - now) / following.fade_seconds)
            solving.append((voice, note))
            hold.append(pull + memory)
            towards.append((pull * master + memory * note.last_cents) / (pull + memory))
            low.append(below)
            high.append(above)
        if solving:
            still += [(note.key, note.cents) for voice, note in moving if voice in moved]
            keys = [note.key for _, note in solving] + [key for key, _ in still]
            found = least(keys, [cents for _, cents in still], hold, towards, low, high)
            for (voice, note), cents in zip(solving, found, strict=True):
                note.cents = moved[voice] = cents
        return moved


def _nearest(
    struck: list[int], moving: list[tuple[int, _Note]], still: list[tuple[int, float]]
) -> tuple[list[tuple[int, _Note]], list[tuple[int, float]]]:
    """Of those that move and those that stand still, the nearest to the keys that are struck, with these."""
    new = len(moving) - len(struck)

    def far(key: int) -> int:
        return min(abs(key - one) for one in struck)

    ranked = sorted(
        [(place < new, far(note.key), place) for place, (_, note) in enumerate(moving)]
        + [(True, far(key), len(moving) + place) for place, (key, _) in enumerate(still)]
    )[:MOST_SOLVED]
    chosen = sorted(place for *_, place in ranked)
    return (
        [moving[place] for place in chosen if place < len(moving)],
        [still[place - len(moving)] for place in chosen if place >= len(moving)],
    )
