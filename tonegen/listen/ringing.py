"""The partials of a string as they ring: how far each lies from where it is looked for, and how sure that is.

Each partial is brought down to 0 Hz by the frequency at which it is looked for, through a window that keeps
its neighbours out (four-term Blackman-Harris, side lobes at -92 dB: F. J. Harris, Proc. IEEE 66, 1978). What
is left of its phase grows in proportion to how far off it is. A string falls in pitch after the pick, all
partials alike: the fall is a sum of exponentials of given lengths, none of them rising, found by non-negative
least squares from all partials together.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import log, pi
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.frozen import Frozen
from tonegen.listen.noise import HIGHEST_OF_RATE, NoiseFloor

Array = NDArray[np.float64]

_PER_CENT: Final = log(2) / 1200
_PERIODS: Final = 5.0  # of the first partial in a window: its neighbours then lie outside the main lobe
_SHORTEST_WINDOW_SECONDS: Final = 0.04
_HOPS: Final = 4  # a window moves on by a quarter
_RINGS: Final = 30.0  # mean power over noise of a partial that is used, and of one moment of it
_MOMENT: Final = 10.0
FEWEST_FRAMES: Final = 6
_PHASE_FLOOR: Final = 1e-5  # square radians: no partial is quite a damped exponential
_FALL_SECONDS: Final = (0.04, 0.07, 0.12, 0.2, 0.33, 0.55, 0.9)
_USUAL_FALL_CENTS: Final = 6.0
_MOST_OF_THE_MEDIAN: Final = 3.0  # no partial says more of the fall than this, beside the others


@dataclass(frozen=True, slots=True)
class Ringing(Frozen):
    """Partials that ring, each against the frequency at which it was looked for; k of them.

    numbers, hz (k,): which partials, and where each was looked for. cents (k,): how far above that each lies,
    on average over the sound. variances (k,): of cents, squared. fall_cents : how far all of them fall on
    average above where they come to rest, which `cents` holds already. swing_cents, swing_hz : how far and
    how fast they move up and down together; 0 where they do not. decay_nepers : by how much the middle one
    dies away.
    """

    numbers: Array
    hz: Array
    cents: Array
    variances: Array
    fall_cents: float
    swing_cents: float
    swing_hz: float
    decay_nepers: float


@dataclass(frozen=True, slots=True)
class _Heard(Frozen):
    """One partial while it rings: phase as cents times seconds, weights, and what is left beside the fall."""

    index: int
    seconds: Array
    phase: Array
    weights: Array
    falls: Array

    def without_line(self, values: Array) -> Array:
        """Weighted, with what a constant phase and a constant pitch explain taken out."""
        root = np.sqrt(self.weights)
        line, _ = np.linalg.qr(np.stack([np.ones_like(self.seconds), self.seconds], 1) * root[:, np.newaxis])
        weighted = values * (root if values.ndim == 1 else root[:, np.newaxis])
        return np.asarray(weighted - line @ (line.T @ weighted))


def ringing(sound: Array, sample_rate: int, hz: Array, noise: NoiseFloor) -> Ringing | None:
    """The partials of a sound, looked for at these frequencies; None when none rings.

    sound (frames,); hz (n,), rising. Frequencies above 0.45 of the sample rate are left out.
    """
    looked_for = hz[hz < HIGHEST_OF_RATE * sample_rate]
    numbers = np.arange(1, len(looked_for) + 1, dtype=np.float64)
    if not len(looked_for):
        return None
    bands, seconds, squares = _brought_down(sound, sample_rate, looked_for)
    if len(seconds) < FEWEST_FRAMES:
        return None
    power = 2 * noise.at(looked_for) * sample_rate * squares  # of the noise in a band
    falls = np.array([each for each in _FALL_SECONDS if each < 0.7 * (seconds[-1] - seconds[0])])
    heard = list(_heard(bands, seconds, looked_for, power, falls))
    if not heard:
        return None
    strength = _fall(heard, falls)
    before, span = seconds[0], len(sound) / sample_rate
    # Mean over the sound, from before the first window's middle to behind the last one's.
    mean = falls * (np.exp(before / falls) - np.exp((before - span) / falls)) / span
    fall_cents = float(strength @ mean)
    slopes, variances = np.array([_slope(each, strength) for each in heard]).T
    kept = np.array([each.index for each in heard])
    swing_cents, swing_hz = _swing(heard, strength)
    levels = np.log(np.abs(bands[:, kept]))
    return Ringing(
        numbers[kept],
        looked_for[kept],
        slopes + fall_cents,
        variances,
        fall_cents,
        swing_cents,
        swing_hz,
        float(
            np.median(
                levels[: len(levels) // 4 + 1].mean(axis=0) - levels[-(len(levels) // 4 + 1) :].mean(axis=0)
            )
        ),
    )


def _brought_down(sound: Array, sample_rate: int, hz: Array) -> tuple[NDArray[np.complex128], Array, float]:
    """Each partial as a slow signal (windows, n), the windows' middles in seconds, the sum of squares."""
    seconds = max(_PERIODS / hz[0], _SHORTEST_WINDOW_SECONDS)
    length = min(round(seconds * sample_rate), len(sound))
    window = _blackman_harris(length)
    starts = np.arange(0, len(sound) - length + 1, max(1, length // _HOPS))
    cycles = hz / sample_rate
    # Whole turns are taken off before the exponential, or an hour of them would cost its last digits.
    turns = np.mod(np.outer(np.arange(length), cycles), 1)
    carrier = 2 * np.exp(-2j * pi * turns) * window[:, np.newaxis]
    bands = np.lib.stride_tricks.sliding_window_view(sound, length)[starts] @ carrier
    bands *= np.exp(-2j * pi * np.mod(np.outer(starts, cycles), 1))
    return bands, (starts + (length - 1) / 2) / sample_rate, float(np.sum(window**2))


def _blackman_harris(length: int) -> Array:
    turns = 2 * pi * (np.arange(length) + 0.5) / length
    window = 0.35875 - 0.48829 * np.cos(turns) + 0.14128 * np.cos(2 * turns) - 0.01168 * np.cos(3 * turns)
    return np.asarray(window / window.sum())


def _heard(
    bands: NDArray[np.complex128], seconds: Array, hz: Array, noise_power: Array, falls: Array
) -> Iterator[_Heard]:
    """The partials that stand out of the noise, each as long as it does."""
    over_noise = np.abs(bands) ** 2 / noise_power
    for index in np.flatnonzero(over_noise.mean(axis=0) > _RINGS):
        rings = over_noise[:, index] > _MOMENT
        frames = len(rings) if rings.all() else int(np.argmin(rings))
        if frames < FEWEST_FRAMES:
            continue
        since = seconds[:frames] - seconds[0]
        per_cent = 2 * pi * hz[index] * _PER_CENT
        yield _Heard(
            int(index),
            since,
            np.unwrap(np.angle(bands[:frames, index])) / per_cent,
            per_cent**2 / (1 / over_noise[:frames, index] + _PHASE_FLOOR),
            falls * (1 - np.exp(-since[:, np.newaxis] / falls)) if len(falls) else np.zeros((frames, 0)),
        )


def _fall(heard: list[_Heard], falls: Array) -> Array:
    """How strongly the pitch falls along each of the exponentials, in cents; none of them rises."""
    if not len(falls):
        return np.zeros(0)
    from scipy.optimize import nnls

    squares, products = [], []
    for each in heard:
        columns, phase = each.without_line(each.falls), each.without_line(each.phase)
        squares.append(columns.T @ columns)
        products.append(columns.T @ phase)
    traces = np.array([np.trace(each) for each in squares])
    share = np.minimum(1, _MOST_OF_THE_MEDIAN * np.median(traces) / np.maximum(traces, 1e-300))
    matrix = np.tensordot(share, np.array(squares), 1)
    wanted = np.tensordot(share, np.array(products), 1) - 1 / _USUAL_FALL_CENTS
    root = np.linalg.cholesky(matrix + 1e-12 * np.trace(matrix) / len(falls) * np.eye(len(falls)))
    strength, _ = nnls(root.T, np.linalg.solve(root, wanted))
    return np.asarray(strength)


def _slope(heard: _Heard, strength: Array) -> tuple[float, float]:
    """Cents of one partial beside the fall, and their variance, errors that follow each other reckoned in."""
    left = heard.phase - heard.falls @ strength
    line = np.stack([np.ones_like(heard.seconds), heard.seconds], 1)
    weighted = line.T * heard.weights
    covariance = np.linalg.inv(weighted @ line)
    found = covariance @ (weighted @ left)
    errors = (left - line @ found) * np.sqrt(heard.weights)
    total = float(errors @ errors)
    frames = len(errors)
    lags = range(1, frames // 4 + 1)
    # Bartlett's weights: M. S. Bartlett, Biometrika 37 (1950).
    follow = sum((1 - lag / (len(lags) + 1)) * float(errors[lag:] @ errors[:-lag]) for lag in lags)
    inflation = max(1 + 2 * follow / total, 2.0) if total > 0 else 2.0
    return float(found[1]), total / max(frames - 2, 1) * inflation * float(covariance[1, 1])


def _swing(heard: list[_Heard], strength: Array) -> tuple[float, float]:
    """How far all partials move up and down together, and how often a second: bars shake at 3 to 9 Hz.

    One partial alone swings where its string moves in two ways at once.
    """
    frames = min(len(each.seconds) for each in heard)
    seconds = heard[0].seconds[:frames]
    step = seconds[1] - seconds[0]
    if frames * step < 0.5:
        return 0.0, 0.0
    left = np.array([(each.phase - each.falls @ strength)[:frames] for each in heard])
    lines = np.polynomial.polynomial.polyfit(seconds, left.T, 2)
    left -= np.polynomial.polynomial.polyval(seconds, lines)
    window = np.hanning(frames)
    spectra = np.fft.rfft(left * window) / (window.sum() / 2)
    hz = np.fft.rfftfreq(frames, step)
    among = (hz >= 3) & (hz <= 9)
    if not among.any():
        return 0.0, 0.0
    # What most of them do: the median of partials, in phase with each other.
    together = np.hypot(np.median(spectra.real, axis=0), np.median(spectra.imag, axis=0))
    peak = int(np.argmax(np.where(among, together, 0)))
    # Phase is kept as cents times seconds: a swing of c cents at f Hz moves it by c / (2 pi f).
    return float(together[peak] * 2 * pi * hz[peak]), float(hz[peak])
