"""Where strings are picked in a sound: every band of it gets louder at once, however long others ring on."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.listen.noise import HIGHEST_OF_RATE

Array = NDArray[np.float64]

_WINDOW_SECONDS: Final = 0.04
_HOP_SECONDS: Final = 0.01
_BACK: Final = 4  # windows: a pick is over in the time that one lasts
_LOWEST_HZ: Final = 60.0
_HIGHEST_HZ: Final = 8000.0
_BANDS: Final = 32
_RISE_DB: Final = 3.0  # of the mean band; and so many times what is usual around it
_TIMES_USUAL: Final = 4.0
_LOUDER_DB: Final = 0.15  # the whole, once the attack is over: a knock, or a damped string, rings no louder
_USUAL_SECONDS: Final = 1.0
_APART_SECONDS: Final = 0.12
_FLOOR_DB: Final = -70.0  # below the loudest: what is quieter does not count
_ATTACK_SECONDS: Final = 0.06  # noise of the pick, before the string rings by itself
_BEFORE_NEXT_SECONDS: Final = 0.03


@dataclass(frozen=True, slots=True)
class Pick:
    """A picked string. seconds : when; first, end : the frames in which it rings by itself."""

    seconds: float
    first: int
    end: int


class PickFinder:
    """Finds picks in a sound that comes in blocks of any size; it keeps 32 numbers for each 10 ms."""

    def __init__(self, sample_rate: int) -> None:
        """Take the rate at which blocks come."""
        self._rate = sample_rate
        self._hop = round(_HOP_SECONDS * sample_rate)
        self._length = round(_WINDOW_SECONDS * sample_rate)
        self._window = np.hanning(self._length)
        highest = min(_HIGHEST_HZ, HIGHEST_OF_RATE * sample_rate)
        edges = np.geomspace(_LOWEST_HZ, highest, _BANDS + 1) * self._length / sample_rate
        bins = np.unique(np.rint(edges).astype(np.intp))
        self._edges = bins[bins <= self._length // 2]
        self._left = np.zeros(0)
        self._frames = 0
        self._levels: list[Array] = []

    def feed(self, block: Array) -> None:
        """Take the next block, shape (frames,)."""
        sound = np.concatenate([self._left, block])
        self._frames += len(block)
        count = max(0, (len(sound) - self._length) // self._hop + 1)
        if count:
            windows = np.lib.stride_tricks.sliding_window_view(sound, self._length)[:: self._hop][:count]
            power = np.abs(np.fft.rfft(windows * self._window)) ** 2
            bands = np.add.reduceat(power, self._edges[:-1], axis=1)
            self._levels.append(bands)
        self._left = sound[count * self._hop :]

    def picks(self, seconds: float) -> tuple[Pick, ...]:
        """All picks so far, each with at most so many seconds in which it rings by itself."""
        power = np.concatenate([np.zeros((0, len(self._edges) - 1)), *self._levels])
        if not power.any():
            return ()
        floor = max(float(power.max()), 1e-30) * 10 ** (_FLOOR_DB / 10)
        level = 10 * np.log10(power + floor)
        before = np.concatenate([np.full((_BACK, level.shape[1]), 10 * np.log10(floor)), level[:-_BACK]])
        rise = np.maximum(level - before, 0).mean(axis=1)
        usual = _moving_median(rise, round(_USUAL_SECONDS / _HOP_SECONDS))
        apart, after = round(_APART_SECONDS / _HOP_SECONDS), round(_ATTACK_SECONDS / _HOP_SECONDS)
        found: list[int] = []
        whole = 10 * np.log10(power.sum(axis=1) + floor)
        louder = _ahead(whole, after) - np.concatenate([whole[:_BACK][:1].repeat(_BACK), whole[:-_BACK]])
        for at in np.flatnonzero((rise > np.maximum(_RISE_DB, _TIMES_USUAL * usual)) & (louder > _LOUDER_DB)):
            if rise[at] < rise[max(0, at - apart) : at + apart + 1].max():
                continue
            if not found or at - found[-1] > apart:
                found.append(int(at))
        # The rise is fastest when half of the window lies behind the pick.
        starts = [max(0, at * self._hop + self._length // 2 - self._hop) for at in found]
        nexts = [start - round(_BEFORE_NEXT_SECONDS * self._rate) for start in starts[1:]]
        picks = []
        for start, end in zip(starts, [*nexts, self._frames], strict=bool(starts)):
            first = start + round(_ATTACK_SECONDS * self._rate)
            picks.append(
                Pick(start / self._rate, first, max(first, min(end, first + round(seconds * self._rate))))
            )
        return tuple(picks)


def _ahead(values: Array, steps: int) -> Array:
    """Each value as it is so many steps later, the last one at the end."""
    return np.concatenate([values[steps:], np.full(steps, values[-1])])


def _moving_median(values: Array, length: int) -> Array:
    half = length // 2
    padded = np.pad(values, half, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1))
