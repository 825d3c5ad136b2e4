"""Where strings are picked in a sound: every band of it gets louder at once, however long others ring on."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.listen.noise import HIGHEST_OF_RATE

Array = NDArray[np.float64]

_WINDOW_SECONDS: Final = 0.04
_HOP_SECONDS: Final = 0.01
_AT_ONCE: Final = 4  # windows, since a few together take hardly longer than one
_BACK: Final = 4  # windows: a pick is over in the time that one lasts
_LOWEST_HZ: Final = 60.0
_HIGHEST_HZ: Final = 8000.0
_BANDS: Final = 32
_RISE_DB: Final = 3.0  # of the mean band; and so many times what is usual around it
_TIMES_USUAL: Final = 4.0
_LOUDER_DB: Final = 0.15  # the whole, once the attack is over: a knock, or a damped string, rings no louder
_USUAL: Final = 100  # windows: a second
_APART: Final = 12
_AFTER: Final = 6
_FLOOR_DB: Final = -70.0  # below the loudest so far: what is quieter does not count
# A sound that begins with a string that rings begins with its pick; one that begins with noise does not.
_BEGINS_DB: Final = -50.0  # of full scale
ATTACK_SECONDS: Final = 0.06  # noise of the pick, before the string rings by itself
_BEFORE_NEXT_SECONDS: Final = 0.03


@dataclass(frozen=True, slots=True)
class Pick:
    """A picked string. seconds : when; first, end : the frames in which it rings by itself."""

    seconds: float
    first: int
    end: int


class PickFinder:
    """Finds picks in a sound that comes in blocks of any size, of which it keeps a second and a half.

    A pick is found 0.15 to 0.19 s after it was, so that live sound and files have the same picks.
    """

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
        bands = len(self._edges) - 1
        begins = (10 ** (_BEGINS_DB / 20) * self._length / 4) ** 2
        self._left = np.zeros(0)
        self._loudest = begins
        # Before a sound begins it was as quiet as a room.
        self._power = np.full((_BACK, bands), begins / bands)
        self._rise = np.zeros(0)
        self._whole = np.full(_BACK, 10 * np.log10(begins))
        self._next = 0  # the window that is looked at next, counted in those that are kept
        self._gone = 0  # windows that are no longer kept
        self._last = -_APART - 1

    def feed(self, block: Array) -> tuple[int, ...]:
        """Take the next block, shape (frames,). Returns the frames at which strings were picked, as found."""
        sound = np.concatenate([self._left, block])
        count = max(0, (len(sound) - self._length) // self._hop + 1)
        if count < _AT_ONCE:
            self._left = sound
            return ()
        self._left = sound[count * self._hop :]
        windows = np.lib.stride_tricks.sliding_window_view(sound, self._length)[:: self._hop][:count]
        spectra = np.abs(np.fft.rfft(windows * self._window)) ** 2
        self._keep(np.add.reduceat(spectra, self._edges[:-1], axis=1))
        found = self._found()
        self._forget()
        return found

    def _keep(self, power: Array) -> None:
        """How much louder each new window is than the one before it that it does not overlap."""
        loudest = np.maximum.accumulate(np.maximum(power.max(axis=1), self._loudest))
        self._loudest = float(loudest[-1])
        floor = loudest[:, np.newaxis] * 10 ** (_FLOOR_DB / 10)
        together = np.concatenate([self._power, power])
        rise = 10 * np.log10((power + floor) / (together[: len(power)] + floor))
        self._power = together[-_BACK:]
        self._rise = np.concatenate([self._rise, np.maximum(rise, 0).mean(axis=1)])
        self._whole = np.concatenate([self._whole, 10 * np.log10(power.sum(axis=1) + floor[:, 0])])

    def _found(self) -> tuple[int, ...]:
        """Picks among the windows behind which enough is heard."""
        found = []
        rise, whole = self._rise, self._whole  # the latter begins earlier, by a pick's length
        for at in range(self._next, len(rise) - _APART):
            if rise[at] <= _RISE_DB or rise[at] < rise[max(0, at - _APART) : at + _APART + 1].max():
                continue
            usual = float(np.median(rise[max(0, at - _USUAL) : at + _APART + 1]))
            louder = whole[at + _BACK + _AFTER] - whole[at]
            window = self._gone + at
            if rise[at] > _TIMES_USUAL * usual and louder > _LOUDER_DB and window - self._last > _APART:
                self._last = window
                # The rise is fastest when half of the window lies behind the pick.
                found.append(max(0, window * self._hop + self._length // 2 - self._hop))
        self._next = max(self._next, len(rise) - _APART)
        return tuple(found)

    def _forget(self) -> None:
        gone = max(0, self._next - _USUAL - 1)
        self._rise, self._whole = self._rise[gone:], self._whole[gone:]
        self._next -= gone
        self._gone += gone


def rings_by_itself(
    starts: tuple[int, ...], frames: int, sample_rate: int, seconds: float
) -> tuple[Pick, ...]:
    """Picks at these frames of a sound, each with at most so many seconds in which it rings by itself.

    >>> rings_by_itself((48000, 96000), 144000, 48000, 0.5)[0]
    Pick(seconds=1.0, first=50880, end=74880)
    """
    ends = [*(start - round(_BEFORE_NEXT_SECONDS * sample_rate) for start in starts[1:]), frames]
    picks = []
    for start, end in zip(starts, ends, strict=False):
        first = start + round(ATTACK_SECONDS * sample_rate)
        picks.append(
            Pick(start / sample_rate, first, max(first, min(end, first + round(seconds * sample_rate))))
        )
    return tuple(picks)
