"""How far a string moves when changes are engaged and let go again while it rings on.

One ring holds both, so that the string is compared with itself. But it wanders meanwhile, on real instruments
by a cent and more within seconds, all partials alike. What tells a press from that is that it is quick, and
that it is taken back: how the string wanders is taken for a Gaussian process (slow, and a little of a quick
one), in which a press and a release are looked for at every moment that they may have had, and averaged over
by how likely each is.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.frozen import Frozen
from tonegen.interval import partial_hz
from tonegen.listen.heard import UnreadSound, heard
from tonegen.listen.noise import noise_floor
from tonegen.listen.ringing import RingingPartial, ringing_partials
from tonegen.listen.spectrum import Expected

Array = NDArray[np.float64]

SHORTEST_SECONDS: Final = 1.6
LONGEST_SECONDS: Final = 4.0
_OPEN_SECONDS: Final = 0.4  # before the press at least, and after the release the second
_OPEN_AGAIN_SECONDS: Final = 0.3
_HELD_SECONDS: Final = 0.4
_STEP_SECONDS: Final = 0.02
_PRESS_SECONDS: Final = (0.08, 0.15, 0.3)  # from 12 % of the way to 88 %
_PARTIALS: Final = 24
_EVERY: Final = 2  # windows that overlap by half share no noise
# How strings wander: within how many seconds, by how many cents. As a whole; and what partials' own leave.
_WANDERS: Final = tuple(product((0.8, 1.5), (0.3, 1.0, 3.0)))
_QUICKLY: Final = tuple(product((0.1, 0.25), (0.03, 0.1, 0.3)))
_ROUNDS: Final = 12
_LEAST_WAY_CENTS: Final = 0.01
_QUARTILES: Final = 0.455  # median of a square over its mean, of what is distributed normally
_MOST_ERROR_CENTS: Final = 0.5


@dataclass(frozen=True, slots=True)
class HeardPress(Frozen):
    """How far a string moved while changes were engaged, and the standard deviation of that, in cents.

    engaged_seconds, released_seconds : when, from the beginning of the sound.
    """

    cents: float
    error_cents: float
    engaged_seconds: float
    released_seconds: float


def pressed(sound: Array, sample_rate: int, expected: Expected) -> HeardPress:
    """How far a string moves in a sound in which it rings on, open, pressed, and open again; shape (frames,).

    The sound begins after the pick. Raises UnreadSound where it cannot be said, with the reason.
    """
    if len(sound) < SHORTEST_SECONDS * sample_rate:
        raise UnreadSound(
            f"too short: it rings for {len(sound) / sample_rate:.1f} s; let it ring open, engaged and open "
            "again, a second each"
        )
    sound = sound[: round(LONGEST_SECONDS * sample_rate)]
    at_rest = heard(sound[: round(_OPEN_SECONDS * sample_rate)], sample_rate, [expected])
    still = np.asarray(sound - sound.mean())
    hz = partial_hz(at_rest.hz, np.arange(1, _PARTIALS + 1), at_rest.stiffness)
    seconds, partials = ringing_partials(still, sample_rate, hz, noise_floor(still, sample_rate), _EVERY)
    if not partials:
        raise UnreadSound("nothing rings on; pick it harder, and let it ring open, engaged and open again")
    cents, variances = _together(len(seconds), seconds[1] - seconds[0], partials)
    last = int(np.flatnonzero(np.isfinite(variances))[-1]) + 1
    found = _step(seconds[: last + 1], cents[:last], variances[:last])
    if found.error_cents > _MOST_ERROR_CENTS:
        raise UnreadSound(
            f"not sure enough: within {found.error_cents:.1f} cents; press and let go quickly and touch "
            "nothing else, or pick again with the changes engaged, without --ringing"
        )
    return found


def _together(frames: int, hop: float, partials: Sequence[RingingPartial]) -> tuple[Array, Array]:
    """What all partials do, in cents from window to window, and its variance; infinite where none rings.

    Each partial strays by itself, some by cents while they die away: what most of them do counts.
    """
    moves = np.zeros((len(partials), frames - 1))
    noise = np.full(moves.shape, np.inf)
    for row, each in enumerate(partials):
        count = len(each.phase) - 1
        moves[row, :count] = np.diff(each.phase) / hop
        noise[row, :count] = (1 / each.weights[1:] + 1 / each.weights[:-1]) / hop**2
    rings = np.isfinite(noise)
    own = np.array([np.median(row[there]) for row, there in zip(moves, rings, strict=True)])
    with_gaps = np.where(rings, moves - own[:, np.newaxis], np.nan)
    some = rings.any(axis=0)
    common = np.zeros(frames - 1)
    common[some] = np.nanmedian(with_gaps[:, some], axis=0)
    for _ in range(_ROUNDS):
        left = np.where(rings, moves - own[:, np.newaxis] - common, 0.0)
        strays = np.array([
            max(float(np.median(row[there] ** 2) / _QUARTILES - np.median(of[there])), _LEAST_WAY_CENTS**2)
            for row, there, of in zip(left, rings, noise, strict=True)
        ])  # fmt: skip
        variances = noise + strays[:, np.newaxis]
        weights = 4 / (3 + left**2 / variances) / variances  # of Student's distribution
        total = weights.sum(axis=0)
        common[some] = np.sum(weights * (moves - own[:, np.newaxis]), axis=0)[some] / total[some]
        own = np.sum(weights * (moves - common), axis=1) / weights.sum(axis=1)
    return common, np.divide(1.0, total, out=np.full(len(total), np.inf), where=total > 0)


def _step(edges: Array, cents: Array, variances: Array) -> HeardPress:
    """The press and release in what a string does, averaged over all that is not known of either.

    edges (n + 1,): seconds; cents, variances (n,): between them.
    """
    from scipy.linalg import solve_triangular

    middle = (edges[1:] + edges[:-1]) / 2
    apart = (middle[:, np.newaxis] - middle) ** 2
    # Where it stands and how it goes on the whole is anything.
    line = np.stack([np.ones_like(middle), middle - middle.mean()], 1)
    times = np.arange(_OPEN_SECONDS, edges[-1] - _OPEN_AGAIN_SECONDS, _STEP_SECONDS)
    one, other = np.nonzero(times - times[:, np.newaxis] > _HELD_SECONDS)
    steps = [_steps(edges, times, width) for width in _PRESS_SECONDS]
    columns = np.column_stack([line, cents, *steps])
    free = len(cents) - line.shape[1] - 1
    found = []
    for (slow, far), (quick, little) in product(_WANDERS, _QUICKLY):
        covariance = np.diag(variances) + far**2 * np.exp(-apart / (2 * slow**2))
        covariance += little**2 * np.exp(-apart / (2 * quick**2))
        root = np.linalg.cholesky(covariance)
        white = solve_triangular(root, columns, lower=True, check_finite=False)
        inside, triangle = np.linalg.qr(white[:, :2])
        white = white[:, 2:] - inside @ (inside.T @ white[:, 2:])
        left = float(white[:, 0] @ white[:, 0])
        likely = -float(np.log(np.diag(root)).sum() + np.log(np.abs(np.diag(triangle))).sum())
        for each in np.split(white[:, 1:], len(steps), axis=1):
            squares, along = each.T @ each, each.T @ white[:, 0]
            size = squares[one, one] + squares[other, other] - 2 * squares[one, other]
            moved = (along[one] - along[other]) / size
            beside = left - moved**2 * size
            found.append((
                likely - 0.5 * np.log(size) - 0.5 * free * np.log(beside), moved, beside / free / size,
                times[one], times[other],
            ))  # fmt: skip
    likelihood, moved, spread, engaged, released = np.concatenate(found, axis=1)
    share = np.exp(likelihood - likelihood.max())
    share /= share.sum()
    mean = float(share @ moved)
    error = float(np.sqrt(share @ (spread + (moved - mean) ** 2)))
    return HeardPress(mean, error, float(share @ engaged), float(share @ released))


def _steps(edges: Array, times: Array, width: float) -> Array:
    """By how much of its way a change is engaged between edges, if it goes down at each time; (n, times)."""
    scaled = 4 / width * (edges[:, np.newaxis] - times)
    way = 0.5 * (edges[:, np.newaxis] - times + width / 4 * np.logaddexp(scaled, -scaled))
    return np.asarray(np.diff(way, axis=0) / np.diff(edges)[:, np.newaxis])
