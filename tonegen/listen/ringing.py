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
_MOST_BESIDE: Final = 0.5  # of what a partial does beside its pitch, in power, is no swing
_LASTS: Final = 0.6
_LEAST_SWING_CENTS: Final = 2.0
_SWINGS_HZ: Final = np.arange(2.6, 9.6, 0.1)
_FALL_SECONDS: Final = (0.04, 0.07, 0.12, 0.2, 0.33, 0.55, 0.9)
_USUAL_FALL_CENTS: Final = 6.0
_MOST_OF_THE_MEDIAN: Final = 3.0  # no partial says more of the fall than this, beside the others


@dataclass(frozen=True, slots=True)
class Ringing(Frozen):
    """Partials that ring, each against the frequency at which it was looked for; k of them.

    numbers, hz (k,): which partials, and where each was looked for. cents (k,): how far above that each lies,
    on average over the sound. variances (k,): of cents, squared. fall_cents : how far all of them fall on
    average above where they come to rest, which `cents` holds already. swing_cents, swing_hz : how far and
    how fast they move up and down together; 0 where they do not; swing_off_cents : what that adds to `cents`,
    since it ends within a turn. decay_nepers : by how much the middle one
    dies away.
    """

    numbers: Array
    hz: Array
    cents: Array
    variances: Array
    fall_cents: float
    swing_cents: float
    swing_hz: float
    swing_off_cents: float
    decay_nepers: float


@dataclass(frozen=True, slots=True)
class RingingPartial(Frozen):
    """A partial as long as it rings. phase (m,): cents times seconds; weights (m,): one over its variance."""

    phase: Array
    weights: Array


@dataclass(slots=True)
class _Heard:
    """One partial while it rings: phase as cents times seconds, weights, and what is left beside the fall."""

    index: int
    seconds: Array
    phase: Array
    weights: Array
    falls: Array

    def without_line(self) -> Array:
        """The falls, and the phase in the last column, weighted; without what a line explains of them.

        Two orthogonal lines by hand: a general solver would take most of a reading's time.
        """
        root = np.sqrt(self.weights)
        middle = self.seconds - (self.weights @ self.seconds) / self.weights.sum()
        sloped = root * middle
        weighted = np.column_stack([self.falls, self.phase]) * root[:, np.newaxis]
        weighted -= np.outer(root, (root @ weighted) / (root @ root))
        weighted -= np.outer(sloped, (sloped @ weighted) / (sloped @ sloped))
        return np.asarray(weighted)


def ringing(sound: Array, sample_rate: int, hz: Array, noise: NoiseFloor) -> Ringing | None:
    """The partials of a sound, looked for at these frequencies; None when none rings.

    sound (frames,); hz (n,), rising. Frequencies above 0.45 of the sample rate are left out.
    """
    looked_for = hz[hz < HIGHEST_OF_RATE * sample_rate]
    numbers = np.arange(1, len(looked_for) + 1, dtype=np.float64)
    if not len(looked_for):
        return None
    window_seconds = max(_PERIODS / looked_for[0], _SHORTEST_WINDOW_SECONDS)
    bands, seconds, squares = brought_down(sound, sample_rate, looked_for, window_seconds)
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
    swing_cents, swing_hz, swing_off_cents = _swing(heard, strength, slopes + fall_cents)
    levels = np.log(np.abs(bands[:, kept]))
    return Ringing(
        numbers[kept],
        looked_for[kept],
        slopes + fall_cents,
        variances,
        fall_cents,
        swing_cents,
        swing_hz,
        swing_off_cents,
        float(
            np.median(
                levels[: len(levels) // 4 + 1].mean(axis=0) - levels[-(len(levels) // 4 + 1) :].mean(axis=0)
            )
        ),
    )


def ringing_partials(
    sound: Array, sample_rate: int, hz: Array, noise: NoiseFloor, every: int
) -> tuple[Array, list[RingingPartial]]:
    """How each partial that rings goes its way: the middles of windows in seconds, and its track there.

    sound (frames,); hz (n,), rising. every : how many windows on the next one is that is kept.
    """
    looked_for = hz[hz < HIGHEST_OF_RATE * sample_rate]
    window_seconds = max(_PERIODS / looked_for[0], _SHORTEST_WINDOW_SECONDS)
    bands, seconds, squares = brought_down(sound, sample_rate, looked_for, window_seconds)
    power = 2 * noise.at(looked_for) * sample_rate * squares
    return seconds[::every], [
        RingingPartial(each.phase[::every], each.weights[::every])
        for each in _heard(bands, seconds, looked_for, power, np.zeros(0))
    ]


def brought_down(
    sound: Array, sample_rate: int, hz: Array, window_seconds: float
) -> tuple[NDArray[np.complex128], Array, float]:
    """Each partial as a slow signal (windows, n), the windows' middles in seconds, the sum of squares.

    Noise of one-sided density d leaves 2 d times the sample rate times that sum in a slow signal.
    """
    length = min(round(window_seconds * sample_rate), len(sound))
    window = _blackman_harris(length)
    starts = np.arange(0, len(sound) - length + 1, max(1, length // _HOPS))
    cycles = hz / sample_rate
    # Whole turns are taken off before the sine, or an hour of them would cost its last digits.
    turns = 2 * pi * np.mod(np.outer(np.arange(length), cycles), 1)
    carrier = np.concatenate([np.cos(turns), -np.sin(turns)], axis=1) * (2 * window[:, np.newaxis])
    # In real numbers, since sound is real: half the work.
    both = np.lib.stride_tricks.sliding_window_view(sound, length)[starts] @ carrier
    bands = both[:, : len(hz)] + 1j * both[:, len(hz) :]
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

    both = [each.without_line() for each in heard]
    squares = np.array([each.T @ each for each in both])
    traces = np.trace(squares[:, :-1, :-1], axis1=1, axis2=2)
    share = np.minimum(1, _MOST_OF_THE_MEDIAN * np.median(traces) / np.maximum(traces, 1e-300))
    whole = np.tensordot(share, squares, 1)
    matrix, wanted = whole[:-1, :-1], whole[:-1, -1] - 1 / _USUAL_FALL_CENTS
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
    lags = np.arange(1, frames // 4 + 1)
    # Bartlett's weights: M. S. Bartlett, Biometrika 37 (1950).
    by_lag = np.correlate(errors, errors, "full")[frames - 1 :][lags]
    follow = float((1 - lags / (len(lags) + 1)) @ by_lag)
    inflation = max(1 + 2 * follow / total, 2.0) if total > 0 else 2.0
    return float(found[1]), total / max(frames - 2, 1) * inflation * float(covariance[1, 1])


def _swing(heard: list[_Heard], strength: Array, cents: Array) -> tuple[float, float, float]:
    """How far all partials move up and down together, and how often a second: bars shake at 3 to 9 Hz.

    And by how much that moves their mean.

    One partial alone swings where its string moves in two ways at once.
    """
    # A partial that dies early would cut the others short.
    lasting = _LASTS * max(len(each.seconds) for each in heard)
    places = [place for place, each in enumerate(heard) if len(each.seconds) >= lasting]
    heard, cents = [heard[place] for place in places], cents[places]
    frames = min(len(each.seconds) for each in heard)
    seconds = heard[0].seconds[:frames]
    step = seconds[1] - seconds[0]
    if frames * step < 0.5:
        return 0.0, 0.0, 0.0
    left = np.array([(each.phase - each.falls @ strength)[:frames] for each in heard])
    lines = np.polynomial.polynomial.polyfit(seconds, left.T, 2)
    left -= np.polynomial.polynomial.polyval(seconds, lines)
    window = np.hanning(frames)
    spectra = np.fft.rfft(left * window) / (window.sum() / 2)
    hz = np.fft.rfftfreq(frames, step)
    among = (hz >= 3) & (hz <= 9)
    if not among.any():
        return 0.0, 0.0, 0.0
    # What most of them do: the median of partials, in phase with each other.
    together = np.hypot(np.median(spectra.real, axis=0), np.median(spectra.imag, axis=0))
    peak = int(np.argmax(np.where(among, together, 0)))
    # Phase is kept as cents times seconds: a swing of c cents at f Hz moves it by c / (2 pi f).
    roughly = float(together[peak] * 2 * pi * hz[peak])
    if roughly < _LEAST_SWING_CENTS:
        return roughly, float(hz[peak]), 0.0
    return _closely(seconds, np.array([each.phase[:frames] for each in heard]), cents)


def _closely(seconds: Array, phases: Array, cents: Array) -> tuple[float, float, float]:
    """A swing that is there: how far, how often, and what it adds to the cents of partials, on average.

    It is told from a fall by leaving the fall out: the first quarter of a turn looks like one.
    """
    line = np.stack([np.ones_like(seconds), seconds - seconds.mean()], 1)
    inside, _ = np.linalg.qr(line)
    flat = phases - (phases @ inside) @ inside.T
    common = np.median(flat, axis=0)
    best = (np.inf, 0.0, line)
    for hz in _SWINGS_HZ:
        turns = 2 * pi * hz * seconds
        columns = np.column_stack([line, np.cos(turns), np.sin(turns)])
        found, *_ = np.linalg.lstsq(columns, common)
        left = float(np.sum((common - columns @ found) ** 2))
        if left < best[0]:
            best = left, float(hz), columns
    _, hz, columns = best
    each, *_ = np.linalg.lstsq(columns, phases.T)
    beside = np.sum((phases - (columns @ each).T) ** 2, axis=1) / np.maximum(np.sum(flat**2, axis=1), 1e-30)
    if np.median(beside) > _MOST_BESIDE:
        return 0.0, 0.0, 0.0  # whatever partials of another note, or noise, do: they swing each by itself
    swing = np.hypot(np.median(each[2]), np.median(each[3])) * 2 * pi * hz
    return float(swing), hz, float(np.median(cents - each[1]))
