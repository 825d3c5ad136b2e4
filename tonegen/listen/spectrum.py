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
SEARCH_TOGETHER_CENTS: Final = 40.0
USUAL_STIFFNESS: Final = 1e-4
_STEP_CENTS: Final = 1.0
_PARTIALS: Final = 16
_OVER_MEDIAN: Final = 30.0
_PADDING: Final = 2
# What a string a whole search away from its target has less: its neighbour is likelier then.
_FAR: Final = 1.0
# A first look tries B at these multiples of what is likely.
_STIFFNESS_TRIED: Final = (0.2, 0.35, 0.6, 1.0, 1.7, 2.8, 4.5)
_LOBE_BINS: Final = 3.0  # half width of a Hann window's main lobe, with the side lobe next to it
_NOISE: Final = 8.0  # times the median, what noise alone seldom reaches
_LOWEST_HZ: Final = 30.0


@dataclass(frozen=True, slots=True)
class OwnWays(Frozen):
    """How far each partial of a string lies from the law, as it was learned from the string alone; k of them.

    numbers (k,): which partials. cents (k,): above the law with the stiffness that was learned along;
    variances
    (k,): of cents, squared, from pick to pick.
    """

    numbers: Array
    cents: Array
    variances: Array


@dataclass(frozen=True, slots=True)
class Expected:
    """A string as it would sound if it stood at its target. stiffness : B, None where nobody knows it.

    ways : of its partials, where they were learned, with the stiffness.
    """

    string: int
    name: str
    hz: float
    stiffness: float | None = None
    ways: OwnWays | None = None


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

    over_noise (bins,): the power of what stands out of the noise, 0 elsewhere. median : of power.
    """

    power: Array
    over_noise: Array
    median: float
    bin_hz: float
    sound_bin_hz: float
    sample_rate: int

    @property
    def standing_out(self) -> Array:
        """How far each bin stands out, by its logarithm, so that one loud partial counts once."""
        return np.asarray(np.log1p(self.power / (_OVER_MEDIAN * max(self.median, 1e-300))))

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
        at = np.flatnonzero(self.near(partials))
        return float(self.over_noise[at].sum() / max(float(self.over_noise.sum()), 1e-300))


def spectrum(sound: Array, sample_rate: int) -> Spectrum:
    """The power spectrum of a sound, shape (frames,), through a Hann window."""
    padded = _quick_length(len(sound) * _PADDING)
    waves = np.fft.rfft(sound * np.hanning(len(sound)), padded)
    power = waves.real**2 + waves.imag**2
    bin_hz = sample_rate / padded
    median = float(np.median(power))
    over_noise = np.maximum(power - _NOISE * median, 0)
    over_noise[: int(_LOWEST_HZ / bin_hz)] = 0
    return Spectrum(power, over_noise, median, bin_hz, sample_rate / len(sound), sample_rate)


def _quick_length(least: int) -> int:
    """A length that is quick to transform: a power of two, or one and a half, or a quarter more of one.

    >>> _quick_length(192000), _quick_length(2049)
    (196608, 2560)
    """
    power = 1 << (least - 1).bit_length()
    return next(each for each in (power * 5 // 8, power * 3 // 4, power) if each >= least)


def candidates(seen: Spectrum, expected: Sequence[Expected]) -> tuple[HeardCandidate, ...]:
    """The strings by how well they fit what is seen, the best first.

    Only notes that may sound are asked for. Power counts by its logarithm, so that one loud partial of
    something else counts once.
    """
    standing_out = seen.standing_out
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


def candidates_together(seen: Spectrum, expected: Sequence[Expected]) -> tuple[HeardCandidate, ...]:
    """Each of several strings that ring together, in their order, by its partials that no other string has.

    A string all of whose partials another may have is looked for by all of them.
    """
    width, standing_out = 1.5 * SEARCH_TOGETHER_CENTS, seen.standing_out
    found = []
    for place, each in enumerate(expected):
        stiffness = each.stiffness or USUAL_STIFFNESS
        partials = seen.partials(each.hz, stiffness)
        others = [
            seen.partials(other.hz, other.stiffness or USUAL_STIFFNESS)
            for index, other in enumerate(expected)
            if index != place
        ]
        taken = np.concatenate([np.zeros(0), *others])
        apart = np.array([np.abs(1200 * np.log2(taken / hz)).min(initial=np.inf) for hz in partials])
        free = partials[apart > width] if np.any(apart > width) else partials
        cents = np.arange(-SEARCH_TOGETHER_CENTS, SEARCH_TOGETHER_CENTS + 0.25, 0.5)
        bins = np.rint(np.outer(np.exp2(cents / 1200), free) / seen.bin_hz).astype(np.intp)
        scores = standing_out[np.minimum(bins, len(standing_out) - 1)].mean(axis=1)
        at = int(np.argmax(scores - _FAR * (cents / SEARCH_TOGETHER_CENTS) ** 2))
        found.append(
            HeardCandidate(each, float(scores[at]), float(cents[at]), stiffness, seen.explained(partials))
        )
    return tuple(found)
