"""Which of the strings that may sound does: a first look at the spectrum, to a cent or two."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.frozen import Frozen
from tonegen.interval import partial_hz
from tonegen.listen.noise import HIGHEST_OF_RATE

Array = NDArray[np.float64]

SEARCH_CENTS: Final = 80.0
USUAL_STIFFNESS: Final = 1e-4
_STEP_CENTS: Final = 1.0
_PARTIALS: Final = 16
_OVER_MEDIAN: Final = 30.0
_PADDING: Final = 4
# What a string a whole search away from its target has less: its neighbour is likelier then.
_FAR: Final = 1.0
# A first look tries B at these multiples of what is likely.
_STIFFNESS_TRIED: Final = (0.2, 0.35, 0.6, 1.0, 1.7, 2.8, 4.5)
_LOBE_BINS: Final = 3.0  # half width of a Hann window's main lobe, with the side lobe next to it
_NOISE: Final = 8.0  # times the median, what noise alone seldom reaches
_LOWEST_HZ: Final = 30.0


@dataclass(frozen=True, slots=True)
class Expected:
    """A string as it would sound if it stood at its target. stiffness : B, None where nobody knows it."""

    string: int
    name: str
    hz: float
    stiffness: float | None = None


@dataclass(frozen=True, slots=True)
class HeardCandidate:
    """A string that may be what sounds. score : how far its partials stand out, on average; cents : from its
    target, roughly; explained : the share of the sound's power that lies at its partials.
    """

    expected: Expected
    score: float
    cents: float
    stiffness: float
    explained: float


@dataclass(frozen=True, slots=True)
class Spectrum(Frozen):
    """Power of a sound: power (bins,). bin_hz : their distance; sound_bin_hz : without the padding.

    over_noise (bins,): the power of what stands out of the noise, 0 elsewhere.
    """

    power: Array
    over_noise: Array
    bin_hz: float
    sound_bin_hz: float
    sample_rate: int

    def partials(self, hz: float, stiffness: float) -> Array:
        """The partials of a string that are looked for."""
        found = partial_hz(hz, np.arange(1, _PARTIALS + 1), stiffness)
        return found[found < HIGHEST_OF_RATE * self.sample_rate]

    def near(self, partials: Array) -> NDArray[np.bool_]:
        """Which bins lie at partials; shape (bins,)."""
        at = np.zeros(len(self.power), dtype=bool)
        half = _LOBE_BINS * self.sound_bin_hz
        for hz in partials:
            at[max(0, int((hz - half) / self.bin_hz)) : int((hz + half) / self.bin_hz) + 2] = True
        return at

    def explained(self, partials: Array) -> float:
        """The share of the power that lies at partials."""
        return float(self.over_noise @ self.near(partials) / max(float(self.over_noise.sum()), 1e-300))


def spectrum(sound: Array, sample_rate: int) -> Spectrum:
    """The power spectrum of a sound, shape (frames,), through a Hann window."""
    padded = 1 << int(np.ceil(np.log2(len(sound) * _PADDING)))
    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), padded)) ** 2
    bin_hz = sample_rate / padded
    over_noise = np.maximum(power - _NOISE * np.median(power), 0)
    over_noise[: int(_LOWEST_HZ / bin_hz)] = 0
    return Spectrum(power, over_noise, bin_hz, sample_rate / len(sound), sample_rate)


def candidates(seen: Spectrum, expected: Sequence[Expected]) -> tuple[HeardCandidate, ...]:
    """The strings by how well they fit what is seen, the best first.

    Only notes that may sound are asked for. Power counts by its logarithm, so that one loud partial of
    something else counts once.
    """
    standing_out = np.log1p(seen.power / (_OVER_MEDIAN * max(float(np.median(seen.power)), 1e-300)))
    cents = np.arange(-SEARCH_CENTS, SEARCH_CENTS + 0.5, _STEP_CENTS)
    steps, far = np.exp2(cents / 1200), _FAR * (cents / SEARCH_CENTS) ** 2
    found = []
    for each in expected:
        best = (-1.0, 0, 0.0, np.zeros(0))
        for times in _STIFFNESS_TRIED:
            stiffness = times * (each.stiffness or USUAL_STIFFNESS)
            partials = seen.partials(each.hz, stiffness)
            bins = np.rint(np.outer(steps, partials) / seen.bin_hz).astype(np.intp)
            scores = standing_out[np.minimum(bins, len(standing_out) - 1)].mean(axis=1) - far
            at = int(np.argmax(scores))
            if scores[at] > best[0] + 1e-9:
                best = float(scores[at]), at, stiffness, partials * steps[at]
        score, at, stiffness, partials = best
        found.append(HeardCandidate(each, score, float(cents[at]), stiffness, seen.explained(partials)))
    return tuple(sorted(found, key=lambda each: -each.score))
