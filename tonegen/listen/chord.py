"""Several strings that ring together: the pitch of each, and how each pair of partials beats.

All partials of all strings are fitted at once, as damped exponentials that follow the law of each string
and, where it
was learned, each partial's own way. Partials that lie close share a band, which is brought down to 0 Hz;
their levels
and phases are solved for within it, and the rest found by Gauss and Newton's method (variable projection: G.
H. Golub
and V. Pereyra, SIAM J. Numer. Anal. 10, 1973; with L. Kaufman's Jacobian, BIT 15, 1975, both from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.frozen import Frozen
from tonegen.interval import partial_slope_cents
from tonegen.listen.heard import (
    FLAT_NEPERS,
    MAINS_HZ,
    SWING_CENTS,
    UnreadSound,
    refuse_hum,
    refuse_no_sound,
)
from tonegen.listen.noise import HIGHEST_OF_RATE, NoiseFloor, noise_floor
from tonegen.listen.ringing import brought_down, ringing
from tonegen.listen.spectrum import (
    USUAL_STIFFNESS,
    Expected,
    Spectrum,
    candidates_together,
    spectrum,
)

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

BEST_SECONDS: Final = 2.0  # of one fit: longer, a real partial is no single damped exponential
_SHORTEST_SECONDS: Final = 0.8
_PER_CENT: Final = log(2) / 1200
_STAGES: Final = ((0.4, 6), (1.0, 10), (BEST_SECONDS, 16))  # seconds, partials: rough first
_BAND_SECONDS: Final = 0.25
_LOBE: Final = 4.0  # half width of the window's main lobe, in bins of its length
_MARGIN_HZ: Final = 10.0
_FALL_SECONDS: Final = 0.25
# Standard deviations before anything is heard.
_PITCH_CENTS: Final = 15.0
_STIFFNESS_DOUBT: Final = 0.8
_DRIFT_CENTS_PER_SECOND: Final = 1.5
_FALL_CENTS: Final = 3.0
_WAY_CENTS: Final = 0.4
_LEAST_WAY_CENTS: Final = 0.03
_LEARNED_WAY_CENTS: Final = 0.05  # in quadrature with what differed from pick to pick
_DECAY: Final = 1.0  # of the logarithm
_USUAL_DECAY: Final = 1.5  # nepers a second
_FASTEST_DECAY: Final = 4.0  # its logarithm
_STANDS_OUT: Final = 20.0  # power over noise of a partial that is fitted
_ROUNDS: Final = 12
_MODEL_ERROR: Final = 0.02  # of a band's level at first: no partial is quite a damped exponential
_LEAST_MODEL_ERROR: Final = 0.002
_RIDGE: Final = 1e-3
_STEP_CENTS: Final = 4.0
# By how much the errors that were found fell short of the real ones, on mixtures of real strings.
_WIDENING: Final = 2.4
_LEAST_ERROR_CENTS: Final = 0.03
_SURE: Final = 2.5
_ONE_NOTE_CENTS: Final = 30.0
_APART: Final = 1.5  # beats in the sound, from which on two partials stand apart
_HUMS: Final = 16
_MOSTLY: Final = 0.8
_FOLLOWED: Final = 8  # partials of each string, while it is seen whether the bar moves
_FEWEST_FOLLOWED: Final = 3
_FREE_HZ: Final = 60.0
_LEAST_BEAT_CENTS: Final = 0.03  # no beat of real strings is surer than this share of where it is heard


@dataclass(frozen=True, slots=True)
class HeardBeat:
    """A beat that was heard. beats_per_second : signed, wide positive; error : its standard deviation.

    side_is_known : whether its side was heard as well; else only how fast it beats.
    """

    beats_per_second: float
    error: float
    side_is_known: bool


@dataclass(frozen=True, slots=True)
class HeardChord(Frozen):
    """Strings that ring together. expected (n): as they were listened for.

    cents (n,): each above its target, on average over the sound, error_cents (n,) their standard deviations.
    string, number (k,): of each partial that was fitted, its string by place, and which it is. partials_hz
    (k,):
    where each lies; covariance (k, k): of that, in hz squared. law_hz, law_error_hz (k,): where all the
    other partials of its
    string have each. seconds : how long was listened.
    """

    expected: tuple[Expected, ...]
    cents: Array
    error_cents: Array
    string: NDArray[np.intp]
    number: Array
    partials_hz: Array
    covariance: Array
    law_hz: Array
    law_error_hz: Array
    seconds: float

    def beat(self, low: int, low_number: int, high: int, high_number: int) -> HeardBeat | None:
        """How two partials beat, strings by place; None where either is not heard."""
        one = np.flatnonzero((self.string == low) & (self.number == low_number))
        other = np.flatnonzero((self.string == high) & (self.number == high_number))
        if not len(one) or not len(other):
            return None
        pick = np.zeros(len(self.number))
        pick[other[0]], pick[one[0]] = 1, -1
        hz, rate = float(self.partials_hz[other[0]]), float(pick @ self.partials_hz)
        error = float(np.sqrt(max(float(pick @ self.covariance @ pick), 0.0)))
        error = max(error, hz * _LEAST_BEAT_CENTS * _PER_CENT)
        # Strings of one note are alike from the first partial to the last: which is the higher cannot be
        # heard.
        alike = abs(1200 * log(self.expected[high].hz / self.expected[low].hz, 2)) < _ONE_NOTE_CENTS
        if abs(rate) * self.seconds > _APART:
            return HeardBeat(rate, error, not alike and abs(rate) > _SURE * error)
        # Two partials that hardly beat might as well have each other's place: the strings' others tell.
        by_law = float(pick @ self.law_hz)
        doubt = float(np.hypot(self.law_error_hz[one[0]], self.law_error_hz[other[0]]))
        sure = not alike and abs(by_law) > _SURE * doubt and abs(rate) > _SURE * error
        return HeardBeat(float(np.copysign(rate, by_law)), error, sure)


@dataclass(frozen=True, slots=True)
class _Partials(Frozen):
    """Partials that are fitted. string, number (k,); way, way_error (k,): as learned, else 0 and usual."""

    string: NDArray[np.intp]
    number: Array
    way: Array
    way_error: Array


@dataclass(frozen=True, slots=True)
class _Band(Frozen):
    """Partials brought down together. members : which; level (m,), seconds (m,); noise : power of it."""

    members: NDArray[np.intp]
    centre_hz: float
    level: Complex
    seconds: Array
    noise: float


@dataclass(slots=True)
class _State:
    """What is fitted: by string, cents, ln of B's factor, drift, fall; by partial, way and ln of decay."""

    cents: Array
    stiffness: Array
    drift: Array
    fall: Array
    way: Array
    decay: Array

    def vector(self) -> Array:
        return np.concatenate([
            self.cents, self.stiffness, self.drift, self.fall, self.way, self.decay,
        ])  # fmt: skip

    def moved(self, step: Array) -> "_State":
        strings, partials = len(self.cents), len(self.way)
        cuts = np.cumsum([strings, strings, strings, strings, partials])
        parts = np.split(self.vector() + step, cuts)
        return _State(*parts)


def heard_together(
    sound: Array, sample_rate: int, expected: Sequence[Expected], seconds: float = BEST_SECONDS
) -> HeardChord:
    """The strings of a sound in which all of them ring, from after they were picked; shape (frames,).

    seconds : how much of it is fitted at most; more than two only for beats slower than one in two seconds.

    Raises UnreadSound where it cannot be said, with the reason.
    """
    if len(sound) < _SHORTEST_SECONDS * sample_rate:
        raise UnreadSound(f"too short: let the strings ring for {_SHORTEST_SECONDS:g} s and more")
    refuse_no_sound(sound)
    still = np.asarray(sound - sound.mean())
    seen = spectrum(still[:sample_rate], sample_rate)
    _refuse_mains(still[:sample_rate], seen)
    cents = np.array([each.cents for each in candidates_together(seen, expected)])
    _refuse_moving(still[:sample_rate], sample_rate, expected, cents)
    stiffness = np.zeros(len(expected))
    found = None
    whole = min(seconds, len(still) / sample_rate)
    lengths = [*(each for each in _STAGES if each[0] < 0.8 * whole), (whole, _STAGES[-1][1])]
    for stage_seconds, count in lengths:
        part = still[: round(stage_seconds * sample_rate)]
        fit = _Fit(part, sample_rate, expected, count, cents, stiffness)
        found = fit.run()
        cents, stiffness = found.cents, found.stiffness
    assert found is not None
    return fit.chord(fit.places(found))


def _refuse_mains(sound: Array, seen: Spectrum) -> None:
    """Hum is at multiples of the mains, and does not die away as strings do."""
    quarter = len(sound) // 4
    dies = 0.5 * log(float(np.mean(sound[:quarter] ** 2)) / max(float(np.mean(sound[-quarter:] ** 2)), 1e-30))
    for mains in MAINS_HZ:
        if abs(dies) < FLAT_NEPERS and seen.explained(mains * np.arange(1.0, _HUMS + 1)) > _MOSTLY:
            refuse_hum(mains)


def _refuse_moving(sound: Array, sample_rate: int, expected: Sequence[Expected], cents: Array) -> None:
    """A bar moves all strings together: partials that no other string covers tell."""
    partials = _partials(expected, _FOLLOWED)
    at = partials.string
    b = np.array([each.stiffness or USUAL_STIFFNESS for each in expected])[at]
    target_hz = np.array([each.hz for each in expected])[at] * np.exp(cents[at] * _PER_CENT)
    hz = target_hz * partials.number * np.sqrt((1 + b * partials.number**2) / (1 + b))
    apart = np.abs(hz[:, np.newaxis] - hz)
    apart[np.diag_indices_from(apart)] = np.inf
    free = np.sort(hz[apart.min(axis=1) > _FREE_HZ])
    rings = ringing(sound, sample_rate, free, noise_floor(sound, sample_rate)) if len(free) else None
    if rings is not None and len(rings.cents) >= _FEWEST_FOLLOWED and rings.swing_cents > SWING_CENTS:
        raise UnreadSound(
            f"the bar moves: it swings {rings.swing_cents:.0f} cents either way, {rings.swing_hz:.1f} times "
            "a second; hold it still"
        )


class _Fit:
    """One stretch of sound with a number of partials of each string."""

    def __init__(
        self, sound: Array, sample_rate: int, expected: Sequence[Expected], count: int, cents: Array,
        stiffness: Array,
    ) -> None:  # fmt: skip
        self.expected = tuple(expected)
        self.seconds = len(sound) / sample_rate
        self.b0 = np.array([each.stiffness or USUAL_STIFFNESS for each in expected])
        self.learned = np.array([each.ways is not None for each in expected])
        self.target_hz = np.array([each.hz for each in expected])
        noise = noise_floor(sound, sample_rate)
        partials = _partials(self.expected, count)
        hz = self._hz(partials, cents, stiffness, partials.way)
        keep = (hz < HIGHEST_OF_RATE * sample_rate) & _stand_out(sound, sample_rate, hz, noise)
        alone = _alone(hz, partials.string)
        for place, each in enumerate(expected):
            own = partials.string == place
            if not keep[own & alone if np.count_nonzero(own & alone) > 2 else own].any():
                raise UnreadSound(f"string {each.string} is not heard; pick all strings of the grip together")
        self.partials = _Partials(
            partials.string[keep], partials.number[keep], partials.way[keep], partials.way_error[keep]
        )
        decay = np.full(len(self.partials.number), log(_USUAL_DECAY))
        zeros = np.zeros(len(expected))
        self.begin = _State(cents, stiffness, zeros, zeros, self.partials.way, decay)
        self.bands = _bands(sound, sample_rate, hz[keep], noise)
        self.way_error = self.partials.way_error.copy()
        self.model_error = np.full(len(self.bands), _MODEL_ERROR)

    def _hz(self, partials: _Partials, cents: Array, stiffness: Array, way: Array) -> Array:
        at = partials.string
        b = self.b0[at] * np.exp(stiffness[at])
        law = partials.number * np.sqrt((1 + b * partials.number**2) / (1 + b))
        return np.asarray(self.target_hz[at] * law * np.exp((cents[at] + way) * _PER_CENT))

    def run(self, begin: _State | None = None) -> _State:
        """The likeliest state near where it begins; model errors of bands are found along."""
        state, damping = begin or self.begin, 1e-3
        for turn in range(_ROUNDS):
            matrix, gradient, cost = self._equations(state)
            if turn and turn % 3 == 0:
                self._judge(state)
                self._stray(state)
                matrix, gradient, cost = self._equations(state)
            for _ in range(6):
                damped = matrix + damping * np.diag(np.diag(matrix))
                step = np.linalg.solve(damped, -gradient)
                step *= min(1.0, _STEP_CENTS / max(float(np.abs(step[: len(self.expected)]).max()), 1e-12))
                tried = state.moved(np.clip(step, -_STEP_CENTS, _STEP_CENTS))
                now = self._cost(tried)
                if now < cost:
                    damping = max(damping / 5, 1e-9)
                    break
                damping *= 8
            else:
                break
            state = tried
            if cost - now < 1e-4 * cost and turn > 4:
                break
        self._judge(state)
        return state

    def places(self, state: _State) -> _State:
        """The likelier state where partials that hardly beat might have each other's place."""
        for one, other in self._close(state):
            hz = self._hz(self.partials, state.cents, state.stiffness, state.way)
            apart = max(abs(hz[other] - hz[one]), 0.5 / self.seconds) / hz[one] / _PER_CENT
            apart *= -1 if hz[other] > hz[one] else 1
            way, middle = state.way.copy(), (hz[one] + hz[other]) / 2
            way[one] += log(middle / hz[one]) / _PER_CENT - apart / 2
            way[other] += log(middle / hz[other]) / _PER_CENT + apart / 2
            tried = self.run(replace(state, way=way))
            if self._cost(tried) < self._cost(state):
                state = tried
        return state

    def _close(self, state: _State) -> list[tuple[int, int]]:
        """Partials of two strings that hardly beat in the sound."""
        hz, at = self._hz(self.partials, state.cents, state.stiffness, state.way), self.partials.string
        near = np.abs(hz[:, np.newaxis] - hz) < _APART / self.seconds
        return [(int(one), int(other)) for one, other in np.argwhere(near) if at[one] < at[other]]

    def chord(self, state: _State) -> HeardChord:
        """What is said of it: on average over the sound."""
        matrix, _, _ = self._equations(state)
        covariance = np.linalg.inv(matrix) * _WIDENING**2
        strings, count = len(self.expected), len(self.partials.number)
        mean = _FALL_SECONDS * (1 - np.exp(-self.seconds / _FALL_SECONDS)) / self.seconds
        cents = state.cents + state.fall * mean
        by_string = np.zeros((strings, len(matrix)))
        by_partial = np.zeros((count, len(matrix)))
        at = self.partials.string
        b = self.b0[at] * np.exp(state.stiffness[at])
        slope = b * partial_slope_cents(self.partials.number, b)
        for rows, place in ((by_string, np.arange(strings)), (by_partial, at)):
            every = np.arange(len(rows))
            rows[every, place] = 1
            rows[every, 3 * strings + place] = mean
        by_partial[np.arange(count), strings + at] = slope
        by_partial[np.arange(count), 4 * strings + np.arange(count)] = 1
        hz = self._hz(self.partials, cents, state.stiffness, state.way)
        by_partial *= (hz * _PER_CENT)[:, np.newaxis]
        errors = np.hypot(np.sqrt(np.diag(by_string @ covariance @ by_string.T)), _LEAST_ERROR_CENTS)
        law_hz = self._hz(self.partials, cents, state.stiffness, self.partials.way)
        return HeardChord(
            self.expected, cents, errors, at, self.partials.number, hz,
            by_partial @ covariance @ by_partial.T, law_hz,
            law_hz * _PER_CENT * np.hypot(self.way_error, errors[at]), self.seconds,
        )  # fmt: skip

    def _prior(self) -> tuple[Array, Array]:
        strings, count = len(self.expected), len(self.partials.number)
        centre = np.concatenate([
            self.begin.cents, np.zeros(3 * strings), self.partials.way, np.full(count, log(_USUAL_DECAY)),
        ])  # fmt: skip
        doubt = np.where(self.learned, 1e-3, _STIFFNESS_DOUBT)
        spread = np.concatenate([
            np.full(strings, _PITCH_CENTS), doubt, np.full(strings, _DRIFT_CENTS_PER_SECOND),
            np.full(strings, _FALL_CENTS), self.way_error, np.full(count, _DECAY),
        ])  # fmt: skip
        return centre, spread

    def _pull(self, state: _State) -> tuple[Array, Array, float]:
        """What is known beforehand: weights, gradient and cost; partials' ways by Student's t with three."""
        centre, spread = self._prior()
        off = (state.vector() - centre) / spread
        strings, count = len(self.expected), len(self.partials.number)
        ways = slice(4 * strings, 4 * strings + count)
        weights = 1 / spread**2
        cost = (
            float(np.sum(off**2))
            - float(np.sum(off[ways] ** 2))
            + 4 * float(np.sum(np.log1p(off[ways] ** 2 / 3)))
        )
        weights[ways] *= 4 / (3 + off[ways] ** 2)
        return weights, weights * off * spread, cost

    def _equations(self, state: _State) -> tuple[Array, Array, float]:
        weights, gradient, cost = self._pull(state)
        matrix = np.diag(weights)
        for band, error in zip(self.bands, self.model_error, strict=True):
            left, slopes, columns = self._left(band, state, error)
            real = np.concatenate([slopes.real, slopes.imag])
            both = np.concatenate([left.real, left.imag])
            matrix[np.ix_(columns, columns)] += real.T @ real
            gradient[columns] += real.T @ both
            cost += float(both @ both)
        return matrix, gradient, cost

    def _cost(self, state: _State) -> float:
        cost = self._pull(state)[2]
        for band, error in zip(self.bands, self.model_error, strict=True):
            left, _, _ = self._left(band, state, error, slopes=False)
            cost += float(np.sum(np.abs(left) ** 2))
        return cost

    def _stray(self, state: _State) -> None:
        """How far partials of strings that were not learned stray: as far as they do, or nearly."""
        for place in np.flatnonzero(~self.learned):
            own = self.partials.string == place
            square = np.median(state.way[own] ** 2) / 0.45 * own.sum() + 4 * _WAY_CENTS**2
            self.way_error[own] = max(float(np.sqrt(square / (own.sum() + 4))), _LEAST_WAY_CENTS)

    def _judge(self, state: _State) -> None:
        """How far each band is from damped exponentials, by what is left of it."""
        for index, band in enumerate(self.bands):
            left, _, _ = self._left(band, state, 0.0, slopes=False)
            degrees = max(len(band.seconds) - len(band.members), 1)
            more = max(float(np.sum(np.abs(left) ** 2)) / degrees - 1, 0.0) * 2 * band.noise
            power = float(np.mean(np.abs(band.level) ** 2))
            self.model_error[index] = max(float(np.sqrt(more / power)), _LEAST_MODEL_ERROR)

    def _left(
        self, band: _Band, state: _State, error: float, *, slopes: bool = True
    ) -> tuple[Complex, Complex, NDArray[np.intp]]:
        """What a band has beside its partials, weighted, and how that goes with each parameter."""
        partials, t, members = self.partials, band.seconds, band.members
        strings, count = len(self.expected), len(partials.number)
        at = partials.string[members]
        hz = self._hz(partials, state.cents, state.stiffness, state.way)[members]
        bent = t**2 / 2 - t * self.seconds / 2
        fallen = _FALL_SECONDS * (1 - np.exp(-t / _FALL_SECONDS))
        per_cent = 2 * np.pi * hz * _PER_CENT
        phase = 2 * np.pi * np.outer(t, hz - band.centre_hz) + per_cent * (
            np.outer(bent, state.drift[at]) + np.outer(fallen, state.fall[at])
        )
        decay = np.exp(np.minimum(state.decay[members], _FASTEST_DECAY))
        # In power, half and half: noise that overlapping windows share, and what is no damped exponential.
        root = 1 / np.sqrt(2 * band.noise + (error * np.abs(band.level)) ** 2)
        waves = np.exp(1j * phase - np.outer(t, decay)) * root[:, np.newaxis]
        scale = np.sqrt(np.sum(np.abs(waves) ** 2, axis=0))
        ridged = np.concatenate([waves / scale, _RIDGE * np.eye(len(members))])
        orthogonal, triangle = np.linalg.qr(ridged)
        wanted = np.concatenate([band.level * root, np.zeros(len(members))])
        inside = orthogonal.conj().T @ wanted
        left = (wanted - orthogonal @ inside)[: len(t)]
        if not slopes:
            return left, left[:, np.newaxis], members
        levels = np.linalg.solve(triangle, inside) / scale
        each = waves * levels
        turn = 1j * each * per_cent
        by_cents = turn * t[:, np.newaxis]
        b = self.b0[at] * np.exp(state.stiffness[at])
        by_stiffness = by_cents * (b * partial_slope_cents(partials.number[members], b))
        stacked = np.concatenate([
            by_cents, by_stiffness, turn * bent[:, np.newaxis], turn * fallen[:, np.newaxis], by_cents,
            -each * np.outer(t, decay),
        ], axis=1)  # fmt: skip
        columns = np.concatenate([
            at, strings + at, 2 * strings + at, 3 * strings + at, 4 * strings + members,
            4 * strings + count + members,
        ])  # fmt: skip
        padded = np.concatenate([stacked, np.zeros((len(members), stacked.shape[1]))])
        beside = (padded - orthogonal @ (orthogonal.conj().T @ padded))[: len(t)]
        # Two partials of one string may share a band: what they have in common adds up.
        which, place = np.unique(columns, return_inverse=True)
        summed = np.zeros((len(t), len(which)), dtype=np.complex128)
        np.add.at(summed.T, place, beside.T)
        return left, -summed, which


def _partials(expected: Sequence[Expected], count: int) -> _Partials:
    """All partials of all strings, with what was learned of them."""
    numbers = np.arange(1, count + 1, dtype=np.float64)
    ways, errors = np.zeros((len(expected), count)), np.full((len(expected), count), _WAY_CENTS)
    for row, each in enumerate(expected):
        if each.ways is not None:
            within = each.ways.numbers <= count
            places = each.ways.numbers[within].astype(np.intp) - 1
            ways[row, places] = each.ways.cents[within]
            errors[row, places] = np.sqrt(each.ways.variances[within] + _LEARNED_WAY_CENTS**2)
    strings = np.repeat(np.arange(len(expected)), count)
    return _Partials(strings, np.tile(numbers, len(expected)), ways.ravel(), errors.ravel())


def _stand_out(sound: Array, sample_rate: int, hz: Array, noise: NoiseFloor) -> NDArray[np.bool_]:
    """Which partials are louder than the noise, wherever they are."""
    bands, _, squares = brought_down(sound, sample_rate, hz, _BAND_SECONDS)
    return np.asarray(
        np.mean(np.abs(bands) ** 2, axis=0) > _STANDS_OUT * 2 * noise.at(hz) * sample_rate * squares
    )


def _alone(hz: Array, string: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Which partials no other string's covers."""
    near = np.abs(hz[:, np.newaxis] - hz) < 2 * _LOBE / _BAND_SECONDS
    return np.asarray(~np.any(near & (string[:, np.newaxis] != string), axis=1))


def _bands(sound: Array, sample_rate: int, hz: Array, noise: NoiseFloor) -> tuple[_Band, ...]:
    """Partials that a window cannot tell apart are brought down together, with what leaks in."""
    longest = min(_BAND_SECONDS, len(sound) / sample_rate / 4)
    order = np.argsort(hz)
    groups = np.split(order, np.flatnonzero(np.diff(hz[order]) > _LOBE / longest) + 1)
    found = []
    for group in groups:
        low, high = hz[group].min(), hz[group].max()
        centre, half = (low + high) / 2, (high - low) / 2
        seconds = min(longest, _LOBE / (half + _MARGIN_HZ))
        members = np.flatnonzero(np.abs(hz - centre) < half + 0.8 * _LOBE / seconds)
        level, at, squares = brought_down(sound, sample_rate, np.array([centre]), seconds)
        power = 2 * float(noise.at(np.array([centre]))[0]) * sample_rate * squares
        found.append(_Band(members, float(centre), level[:, 0], at, power))
    return tuple(found)
