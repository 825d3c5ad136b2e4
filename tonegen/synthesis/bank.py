"""Exact synthesis of sustained partials: one matrix product per block.

Conventions: phase is in *turns*, reduced modulo 1 in float64 from a whole number of frames, and never summed
up, so it does not drift. `cycles_per_frame` is a frequency over the sample rate. Gains are linear, one per
partial and channel. Sound is float32, frames x channels.

Write a frame as the start of its row plus its column. Then sin(a + b) = sin a cos b + cos a sin b splits each
partial into what only the row knows and what only the column knows, and rows x 2K times 2K x columns renders
K partials at once. A decay splits as well: exp(a + b) = exp a exp b.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

# Partials from here on fade, and from 0.45 of the sample rate on they are not made: 0.5 would fold back.
FADING_CYCLES_PER_FRAME: Final = 0.44
HIGHEST_CYCLES_PER_FRAME: Final = 0.45

# Columns of a row, measured: wide rows keep the matrix product busy, narrow ones fit a device's block.
FILE_COLUMNS: Final = 1024
DEVICE_COLUMNS: Final = 64

_ROWS: Final = 256  # of one product; its result, 1 MB a channel, stays in the cache
_RADIANS_PER_TURN: Final = 2 * np.pi
_NEPERS_PER_DB: Final = np.log(10) / 20


def audible_weight(cycles_per_frame: NDArray[np.float64]) -> NDArray[np.float64]:
    """1 for partials that are made in full, 0 from 0.45 of the sample rate on, a raised cosine between.

    >>> audible_weight(np.array([0.1, 0.445, 0.45])).round(3).tolist()
    [1.0, 0.5, 0.0]
    """
    width = HIGHEST_CYCLES_PER_FRAME - FADING_CYCLES_PER_FRAME
    return raised_cosine(np.clip((HIGHEST_CYCLES_PER_FRAME - cycles_per_frame) / width, 0, 1))


def raised_cosine(progress: NDArray[np.float64]) -> NDArray[np.float64]:
    """From 0 at 0 to 1 at 1 with no corner at either end.

    >>> raised_cosine(np.array([0.0, 0.25, 0.5, 1.0])).round(3).tolist()
    [0.0, 0.146, 0.5, 1.0]
    """
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * progress))


def decayed(frames: NDArray[np.float64], decay_db_per_frame: NDArray[np.float64]) -> NDArray[np.float64]:
    """What is left of a level after so many frames (shapes broadcast); nothing grows before frame 0.

    >>> decayed(np.array([0.0, 100.0]), np.array([0.06])).round(3).tolist()  # 6 dB in 100 frames: half
    [1.0, 0.501]
    """
    return np.asarray(np.exp(-_NEPERS_PER_DB * decay_db_per_frame * np.maximum(frames, 0)))


def sines(turns: NDArray[np.float64], work: NDArray[np.float64], out: NDArray[np.float32]) -> None:
    """Sine of phases in turns, of any size; spoils `turns` and `work`.

    The whole turns go in float64, the sine is taken in float32 (a tenth of the time): the error is that of a
    phase rounded to 24 bits, below 2e-7 of the partial's level.

    >>> out = np.empty(3, dtype=np.float32)
    >>> sines(np.array([0.0, 0.25, 10.75]), np.empty(3), out)
    >>> out.tolist()
    [0.0, 1.0, -1.0]
    """
    reduce_to_radians(turns, work, out)
    np.sin(out, out=out)


def reduce_to_radians(
    turns: NDArray[np.float64], work: NDArray[np.float64], out: NDArray[np.float32]
) -> None:
    """Phases in turns as radians from -pi to pi; spoils `turns` and `work`.

    >>> turns, out = np.array([0.25, 3.25]), np.empty(2, dtype=np.float32)
    >>> reduce_to_radians(turns, np.empty(2), out)
    >>> (out / np.pi).round(4).tolist()
    [0.5, 0.5]
    """
    np.rint(turns, out=work)
    np.subtract(turns, work, out=turns)
    np.multiply(turns, _RADIANS_PER_TURN, out=out, casting="same_kind")


def glided_cycles(
    frames: NDArray[np.float64],
    from_cycles_per_frame: NDArray[np.float64],
    to_cycles_per_frame: NDArray[np.float64],
    glide_frames: int,
) -> NDArray[np.float64]:
    """Cycles passed since frame 0 by a frequency that moves evenly in cents, then stays: tones x frames.

    The frequency at frame n is f0 r^(n/N), its integral f0 N (r^(n/N) - 1) / ln r; f0 n where r is 1.
    Before frame 0 it is f0.

    >>> glided_cycles(np.array([0.0, 100.0]), np.array([0.25]), np.array([0.25]), 100)
    array([[ 0., 25.]])
    """
    if glide_frames == 0:
        return np.multiply.outer(to_cycles_per_frame, frames)
    moving = np.clip(frames, 0, glide_frames)
    log_ratio = np.log(to_cycles_per_frame / from_cycles_per_frame)
    steepness = np.where(log_ratio == 0, 1e-200, log_ratio) / glide_frames  # the limit for r = 1
    passed = np.expm1(np.multiply.outer(steepness, moving))
    passed *= (from_cycles_per_frame / steepness)[:, None]
    passed += np.multiply.outer(from_cycles_per_frame, np.minimum(frames, 0))
    passed += np.multiply.outer(to_cycles_per_frame, np.maximum(frames - glide_frames, 0))
    return passed


def glided_cycles_per_frame(
    frames: NDArray[np.float64],
    from_cycles_per_frame: NDArray[np.float64],
    to_cycles_per_frame: NDArray[np.float64],
    glide_frames: int,
) -> NDArray[np.float64]:
    """The frequency itself along that glide: tones x frames.

    >>> octave = glided_cycles_per_frame(np.array([0.0, 50.0, 100.0]), np.array([0.1]), np.array([0.2]), 100)
    >>> octave.round(4).tolist()
    [[0.1, 0.1414, 0.2]]
    """
    progress = np.clip(frames / glide_frames, 0, 1) if glide_frames else np.ones_like(frames)
    log_ratio = np.log(to_cycles_per_frame / from_cycles_per_frame)
    return from_cycles_per_frame[:, None] * np.exp(np.multiply.outer(log_ratio, progress))


class Bank:
    """Partials that neither move nor change.

    cycles_per_frame : K frequencies over the sample rate
    gains : K x channels; partials above 0.45 of the sample rate are not made, whatever their gain
    decay_db_per_frame : K, 0 for sustained partials
    columns : frames in a row

    The tables of a bank are made once; `render` allocates nothing of note. One thread renders at a time.
    """

    def __init__(
        self,
        cycles_per_frame: NDArray[np.float64],
        gains: NDArray[np.float64],
        decay_db_per_frame: NDArray[np.float64] | None = None,
        columns: int = FILE_COLUMNS,
    ) -> None:
        """Make the table of the columns."""
        partials, self.channels = gains.shape
        self._columns = columns
        self._cycles_per_frame = cycles_per_frame
        decays = decay_db_per_frame is not None and bool(decay_db_per_frame.any())
        self._decay_db_per_frame = decay_db_per_frame if decays else None

        column = np.arange(columns, dtype=np.float64)
        radians = np.multiply.outer(cycles_per_frame, column)
        radians -= np.rint(radians)
        radians *= _RADIANS_PER_TURN
        sounding = gains * audible_weight(cycles_per_frame)[:, None]
        fine = np.empty((2, partials, columns, self.channels), dtype=np.float32)
        for table, wave in zip(fine, (np.cos(radians), np.sin(radians)), strict=True):
            if self._decay_db_per_frame is not None:
                wave *= decayed(column, self._decay_db_per_frame[:, None])
            np.multiply(wave[:, :, None], sounding[:, None, :], out=table, casting="same_kind")
        self._fine = fine.reshape(2 * partials, columns * self.channels)

        self._row = np.arange(_ROWS, dtype=np.float64) * columns
        self._turns = np.empty((_ROWS, partials))
        self._whole = np.empty((_ROWS, partials))
        self._radians = np.empty((_ROWS, partials), dtype=np.float32)
        self._coarse = np.empty((_ROWS, 2 * partials), dtype=np.float32)

    def render(
        self,
        out: NDArray[np.float32],
        frame: int,
        turns: NDArray[np.float64],
        decayed_frames: NDArray[np.float64] | None = None,
    ) -> None:
        """Fill `out` (frames x channels, C-contiguous) from `frame` on.

        turns : K phases at frame 0
        decayed_frames : K, for how long each partial has been dying away at frame 0
        """
        frames, columns = len(out), self._columns
        done = 0
        while done < frames:
            rows = min((frames - done) // columns, _ROWS)
            width = columns if rows else frames - done  # what is left of the last row
            rows = rows or 1
            coarse = self._coarse_rows(frame + done, rows, turns, decayed_frames)
            block = out[done : done + rows * width].reshape(rows, width * self.channels)
            np.matmul(coarse, self._fine[:, : width * self.channels], out=block)
            done += rows * width

    def _coarse_rows(
        self,
        frame: int,
        rows: int,
        start_turns: NDArray[np.float64],
        decayed_frames: NDArray[np.float64] | None,
    ) -> NDArray[np.float32]:
        """Sine and cosine of every partial at the start of each row: rows x 2K."""
        partials = len(self._cycles_per_frame)
        at_frame = self._row[:rows, None] + float(frame)
        turns, radians, coarse = self._turns[:rows], self._radians[:rows], self._coarse[:rows]
        np.multiply(at_frame, self._cycles_per_frame, out=turns)
        turns += start_turns
        reduce_to_radians(turns, self._whole[:rows], radians)
        np.sin(radians, out=coarse[:, :partials])
        np.cos(radians, out=coarse[:, partials:])
        if self._decay_db_per_frame is not None:
            age = at_frame if decayed_frames is None else at_frame + decayed_frames
            left = decayed(age, self._decay_db_per_frame)
            coarse[:, :partials] *= left
            coarse[:, partials:] *= left
        return coarse
