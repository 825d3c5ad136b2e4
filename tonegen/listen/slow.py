"""How slowly two partials beat that hardly beat at all: two damped waves fitted at each rate they may have.

Where two partials nearly meet, the fit of all partials at once knows no error for how far apart they are: the
rate is found by trying each instead, and is as sure as the others fit worse.
"""

from dataclasses import dataclass
from math import pi
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.listen.ringing import brought_down

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

FASTEST_BEATS: Final = 1.0
_TRIED: Final = (*np.linspace(0.005, 0.1, 6), *np.linspace(0.13, FASTEST_BEATS, 16))
_WINDOW_SECONDS: Final = 0.25
_USUAL_DECAY: Final = 1.0  # nepers a second
_AUDIBLE: Final = 0.1  # a partial that is ten times weaker than the other makes no beat that is heard
_ROUNDS: Final = 12
_STEP: Final = 1e-4
_SURE: Final = 8.0  # two standard deviations, of power


@dataclass(frozen=True, slots=True)
class SlowBeat:
    """The rate that fits best, and the lowest and highest that fit nearly as well, in beats a second."""

    beats_per_second: float
    lowest: float
    highest: float


def slow_beat(sound: Array, sample_rate: int, hz: float) -> SlowBeat | None:
    """How fast two partials beat that both lie near a frequency; None where no slow beat is heard there.

    sound (frames,), of a second and more.
    """
    bands, seconds, _ = brought_down(sound, sample_rate, np.array([hz]), _WINDOW_SECONDS)
    level = bands[:, 0] / np.sqrt(np.mean(np.abs(bands[:, 0]) ** 2))
    hop = seconds[1] - seconds[0]
    turn = float(np.angle(np.vdot(level[:-1], level[1:]))) / (2 * pi * hop)
    at = np.array([turn, 0.0, _USUAL_DECAY, 1.5 * _USUAL_DECAY])
    left = np.full(len(_TRIED), np.inf)
    for place, beats in enumerate(_TRIED):
        at, power = _fitted(level, seconds, at, beats)
        if _ratio(level, seconds, at, beats) >= _AUDIBLE:
            left[place] = power
    best = int(np.argmin(left))
    if not np.isfinite(left[best]):
        return None
    independent = 4 * seconds[-1] / _WINDOW_SECONDS
    fitting = np.array(_TRIED)[left <= left[best] * (1 + _SURE / independent)]
    return SlowBeat(float(_TRIED[best]), float(fitting.min()), float(fitting.max()))


def _waves(seconds: Array, at: Array, beats: float) -> Complex:
    """Two damped waves: at (4,) is their middle in hz, how that drifts, and how fast each dies away."""
    middle, drift, one, other = at
    turns = middle * seconds + drift * (seconds - seconds[-1] / 2) ** 2 / 2
    return np.stack(
        [
            np.exp(2j * pi * (turns - beats * seconds / 2) - one * seconds),
            np.exp(2j * pi * (turns + beats * seconds / 2) - other * seconds),
        ],
        axis=1,
    )


def _left(level: Complex, seconds: Array, at: Array, beats: float) -> Array:
    orthogonal, _ = np.linalg.qr(_waves(seconds, at, beats))
    left = level - orthogonal @ (orthogonal.conj().T @ level)
    return np.concatenate([left.real, left.imag])


def _ratio(level: Complex, seconds: Array, at: Array, beats: float) -> float:
    """How loud the weaker of both is beside the other, over all the sound."""
    waves = _waves(seconds, at, beats)
    levels = np.linalg.lstsq(waves, level, rcond=None)[0]
    loud = np.abs(levels) * np.sqrt(np.mean(np.abs(waves) ** 2, axis=0))
    return float(loud.min() / loud.max())


def _fitted(level: Complex, seconds: Array, at: Array, beats: float) -> tuple[Array, float]:
    """The likeliest middle, drift and decays for a rate, by Gauss and Newton's method, and what is left."""
    damping = 1e-2
    left = _left(level, seconds, at, beats)
    power = float(left @ left)
    for _ in range(_ROUNDS):
        slopes = np.stack(
            [(_left(level, seconds, at + step, beats) - left) / _STEP for step in _STEP * np.eye(4)], axis=1
        )
        matrix, gradient = slopes.T @ slopes, slopes.T @ left
        for _ in range(5):
            damped = matrix + damping * np.diag(np.diag(matrix)) + 1e-9 * np.eye(4)
            tried = at - np.linalg.solve(damped, gradient)
            tried_left = _left(level, seconds, tried, beats)
            if (now := float(tried_left @ tried_left)) < power:
                break
            damping *= 8
        else:
            break
        settled = power - now < 1e-5 * power
        at, left, power, damping = tried, tried_left, now, max(damping / 5, 1e-8)
        if settled:
            break
    return at, power
