"""How loud the noise is at any frequency: what rings stands out of it, and no reading is surer than it."""

from dataclasses import dataclass
from math import log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.frozen import Frozen

Array = NDArray[np.float64]

HIGHEST_OF_RATE: Final = 0.45  # of the sample rate: above, converters let little through
_LOWEST_HZ: Final = 30.0
_FEWEST_BINS: Final = 8
# A periodogram of noise is distributed exponentially about its density; its lower quartile is ln(4/3) of it.
# What rings fills fewer than three quarters of the bins, so that the quartile is of the noise alone.
_QUARTILE: Final = log(4 / 3)
_SILENCE: Final = 1e-30


@dataclass(frozen=True, slots=True)
class NoiseFloor(Frozen):
    """The noise by third octaves. centres_hz, densities (k,): mean square per hertz, one-sided."""

    centres_hz: Array
    densities: Array

    def at(self, hz: Array) -> Array:
        """Density at any frequencies, in between by logarithms.

        >>> floor = NoiseFloor(np.array([100.0, 400.0]), np.array([1e-8, 1e-10]))
        >>> floor.at(np.array([200.0, 800.0])).round(12).tolist()
        [1e-09, 1e-10]
        """
        logs = np.interp(np.log(hz), np.log(self.centres_hz), np.log(self.densities))
        return np.asarray(np.exp(logs))


def noise_floor(sound: Array, sample_rate: int) -> NoiseFloor:
    """The noise in a sound, shape (frames,), whatever rings in it.

    >>> white = np.random.default_rng(0).normal(0, 0.1, 480000)
    >>> noise_floor(white, 48000).at(np.array([5000.0])).round(8).tolist()  # 0.01 over 24,000 Hz
    [4.1e-07]
    """
    window = np.hanning(len(sound))
    waves = np.fft.rfft(sound * window)
    density = (waves.real**2 + waves.imag**2) * 2 / (sample_rate * np.sum(window**2))
    hz = np.fft.rfftfreq(len(sound), 1 / sample_rate)
    third = 2 ** (1 / 6)
    centres, densities = [], []
    for centre in _LOWEST_HZ * 2 ** (np.arange(40) / 3):
        first, end = np.searchsorted(hz, (centre / third, centre * third))
        around = density[first:end]
        if len(around) >= _FEWEST_BINS and centre < 0.48 * sample_rate:
            centres.append(centre)
            quarter = len(around) // 4
            # A general quantile takes several times as long.
            densities.append(max(float(np.partition(around, quarter)[quarter]) / _QUARTILE, _SILENCE))
    return NoiseFloor(np.array(centres), np.array(densities))
