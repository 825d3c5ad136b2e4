"""What sounds while gains and frequencies are under way.

Conventions: as in `bank`. A *motion* starts at a frame with the phases, gains and frequencies that it found
there. Until it ends each partial is worked out at each frame, in closed form: nothing is summed up.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.frozen import Frozen
from tonegen.synthesis.bank import (
    FADING_CYCLES_PER_FRAME,
    Bank,
    audible_weight,
    decayed,
    glided_cycles,
    glided_cycles_per_frame,
    raised_cosine,
    sines,
)

_IN_PHASE_TURNS: Final = 1e-9
_MOVING_VALUES: Final = 1 << 15  # partials x frames worked on at once: they stay in the cache


@dataclass(frozen=True, slots=True, eq=False)
class MotionTarget(Frozen):
    """Where a command leads: K partials of T carriers, one a tone, and the bank that sounds once it is there.

    ids, carrier_ids : of K partials and T carriers; one that goes on keeps its id
    carrier : K, the index of each partial's carrier; its frequency is the carrier's times the multiple
    start_turns : K, phases of partials that are new
    gains : K x channels
    cycles_per_frame : T, frequencies of the carriers over the sample rate
    glide_frames : None where glides go on as they are
    meeting : K, the same number for partials at one frequency: once the motion has ended they are in phase
    then : where it goes on to once its ramp has ended, while the level rises step by step
    """

    ids: NDArray[np.int64]
    carrier: NDArray[np.intp]
    multiples: NDArray[np.float64]
    start_turns: NDArray[np.float64]
    decay_db_per_frame: NDArray[np.float64]
    gains: NDArray[np.float64]
    carrier_ids: NDArray[np.int64]
    cycles_per_frame: NDArray[np.float64]
    meeting: NDArray[np.intp]
    bank: Bank
    ramp_frames: int
    glide_frames: int | None
    then: "MotionTarget | None" = None


class Motion:
    """What sounds from frame `start` on: partials whose gains and carriers are under way to a target."""

    def __init__(self, target: MotionTarget, start: int, before: "Motion | None") -> None:
        """Begin at `start` from what sounds there `before`; the partials of the target come first."""
        self.target = target
        self.start = start
        self.ramp_frames = target.ramp_frames
        self.glide_frames = target.glide_frames or 0
        self.ids = target.ids
        self.carrier = target.carrier
        self.multiples = target.multiples
        self.turns = target.start_turns
        self.shift_turns: NDArray[np.float64] | None = None  # by the end, of partials that come into phase
        self.decay_db_per_frame = target.decay_db_per_frame
        self.decayed_frames = np.zeros(len(target.ids))
        self.gains_from = np.zeros_like(target.gains)
        self.gains_to = target.gains
        self.carrier_ids = target.carrier_ids
        self.cycles_from = self.cycles_to = target.cycles_per_frame
        if before is not None:
            self._carry_on(before)
        highest = np.maximum(self.cycles_from, self.cycles_to)[self.carrier] * self.multiples
        self._near_the_edge = bool((highest > FADING_CYCLES_PER_FRAME).any())
        self._decays = bool(self.decay_db_per_frame.any())
        self._glides = bool((self.cycles_from != self.cycles_to).any())
        self._frames = max(self.ramp_frames, self.glide_frames)
        self.end = start + self._frames
        if before is not None:
            self._come_into_phase(before)
        gains = np.concatenate([self.gains_from.T, self.gains_to.T])
        self._gains = np.ascontiguousarray(gains, dtype=np.float32)  # 2 channels x K: from, then to

    def _carry_on(self, before: "Motion") -> None:
        """Take over phases, gains and frequencies, and whatever is on its way out."""
        since = self.start - before.start
        gains = before.gains_at(since)
        turns = before.turns_at(since)
        cycles = before.cycles_per_frame_at(since)
        if self.target.glide_frames is None:
            self.glide_frames = max(before.glide_frames - since, 0)
            onward = before.cycles_to
        else:
            onward = cycles

        _, mine, theirs = np.intersect1d(self.carrier_ids, before.carrier_ids, True, return_indices=True)
        gone = _all_but(theirs, len(before.carrier_ids))
        place = np.empty(len(before.carrier_ids), dtype=np.intp)  # of each earlier carrier among mine
        place[theirs] = mine
        place[gone] = len(self.carrier_ids) + np.arange(len(gone))
        self.cycles_from = self.cycles_to.copy()
        self.cycles_from[mine] = cycles[theirs]
        self.cycles_from = np.concatenate([self.cycles_from, cycles[gone]])
        self.cycles_to = np.concatenate([self.cycles_to, onward[gone]])
        self.carrier_ids = np.concatenate([self.carrier_ids, before.carrier_ids[gone]])

        _, mine, theirs = np.intersect1d(self.ids, before.ids, True, return_indices=True)
        gone = _all_but(theirs, len(before.ids))
        gone = gone[gains[gone].any(axis=1)]
        self.turns = np.concatenate([self.turns, turns[gone]])
        self.turns[mine] = turns[theirs]
        ages = before.decayed_frames + since
        self.decayed_frames = np.concatenate([self.decayed_frames, ages[gone]])
        self.decayed_frames[mine] = ages[theirs]
        self.gains_from[mine] = gains[theirs]
        self.gains_from = np.concatenate([self.gains_from, gains[gone]])
        self.gains_to = np.concatenate([self.gains_to, np.zeros_like(gains[gone])])
        self.ids = np.concatenate([self.ids, before.ids[gone]])
        self.carrier = np.concatenate([self.carrier, place[before.carrier[gone]]])
        self.multiples = np.concatenate([self.multiples, before.multiples[gone]])
        self.decay_db_per_frame = np.concatenate([self.decay_db_per_frame, before.decay_db_per_frame[gone]])

    def _come_into_phase(self, before: "Motion") -> None:
        """Have partials that meet end in phase with the one of them that sounds longest at its frequency.

        One that is new starts so; another gets there along the motion, by at most half a turn.
        """
        meeting = self.target.meeting
        if len(np.unique(meeting)) == len(meeting):
            return
        count = len(meeting)
        new = ~np.isin(self.target.ids, before.ids)
        moves = (self.cycles_from != self.cycles_to)[self.target.carrier]
        order = np.lexsort((np.where(new, 2, moves), meeting))
        numbers, first = np.unique(meeting[order], return_index=True)
        leader = order[first][np.searchsorted(numbers, meeting)]
        at_end = self.turns_at(self._frames)[:count]
        shift = at_end[leader] - at_end
        shift -= np.rint(shift)
        self.turns = self.turns.copy()
        self.turns[:count][new] += shift[new]
        shift[new] = 0.0
        if np.abs(shift).max() > _IN_PHASE_TURNS:
            self.shift_turns = np.concatenate([shift, np.zeros(len(self.ids) - count)])

    def progress(self, frames: NDArray[np.float64]) -> NDArray[np.float64]:
        """How far the ramp is, 0 to 1, so many frames after the start."""
        if self.ramp_frames == 0:
            return np.ones_like(frames)
        return raised_cosine(np.clip(frames / self.ramp_frames, 0, 1))

    def gains_at(self, frames: int) -> NDArray[np.float64]:
        """Gains so many frames after the start: K x channels."""
        progress = self.progress(np.array([float(frames)]))[0]
        return np.asarray((1 - progress) * self.gains_from + progress * self.gains_to)

    def rms_heard(self, frame: int) -> float:
        """How loud it is at a frame, or was just before: rms of all partials over all channels.

        While it fades in from silence, how loud it will be. Decay and beats are left out.
        """
        start = _rms(self.gains_from)
        return max(start, _rms(self.gains_at(frame - self.start))) if start else _rms(self.gains_to)

    def turns_at(self, frames: int) -> NDArray[np.float64]:
        """Phases so many frames after the start, 0 to 1."""
        passed = self._cycles(np.array([float(frames)]))[:, 0]
        turns = passed[self.carrier] * self.multiples + self.turns
        if self.shift_turns is not None:
            turns += self.shift_turns * raised_cosine(np.clip(np.array(frames / self._frames), 0, 1))
        return np.mod(turns, 1.0)

    def cycles_per_frame_at(self, frames: int) -> NDArray[np.float64]:
        """Frequencies of the carriers so many frames after the start."""
        at = np.array([float(frames)])
        return glided_cycles_per_frame(at, self.cycles_from, self.cycles_to, self.glide_frames)[:, 0]

    def _cycles(self, frames: NDArray[np.float64]) -> NDArray[np.float64]:
        glide_frames = self.glide_frames if self._glides else 0
        return glided_cycles(frames, self.cycles_from, self.cycles_to, glide_frames)

    def settled(self) -> "Motion":
        """The same sound once it has arrived: only the partials of the target, at rest from `end` on."""
        since, count = self.end - self.start, len(self.target.ids)
        at_rest = replace(
            self.target, start_turns=self.turns_at(since)[:count], ramp_frames=0, glide_frames=0
        )
        rest = Motion(at_rest, self.end, None)
        rest.decayed_frames = self.decayed_frames[:count] + since
        return rest

    def render_at_rest(self, out: NDArray[np.float32], frame: int) -> None:
        """Fill `out` from `frame` on, at or after `end` of a settled motion."""
        if len(self.ids) == 0:
            out.fill(0)
        else:
            self.target.bank.render(out, frame - self.start, self.turns, self.decayed_frames)

    def render_moving(self, out: NDArray[np.float32], frame: int, work: "Work") -> None:
        """Fill `out` from `frame` on, each partial at each frame by itself."""
        if len(self.ids) == 0:
            out.fill(0)
            return
        step = max(1, _MOVING_VALUES // len(self.ids))
        for begin in range(0, len(out), step):
            block = out[begin : begin + step]
            self._render_some(block, frame + begin - self.start, work)

    def _render_some(self, out: NDArray[np.float32], since: int, work: "Work") -> None:
        partials, channels = self.gains_from.shape
        frames = np.arange(since, since + len(out), dtype=np.float64)
        turns, whole, wave = work.shaped(partials, len(out))
        np.take(self._cycles(frames), self.carrier, axis=0, out=turns, mode="clip")  # clip: takes no copy
        turns *= self.multiples[:, None]
        turns += self.turns[:, None]
        if self.shift_turns is not None:
            turns += np.multiply.outer(self.shift_turns, raised_cosine(np.clip(frames / self._frames, 0, 1)))
        sines(turns, whole, wave)
        if self._decays:
            wave *= decayed(self.decayed_frames[:, None] + frames, self.decay_db_per_frame[:, None])
        if self._near_the_edge:
            cycles = glided_cycles_per_frame(frames, self.cycles_from, self.cycles_to, self.glide_frames)
            wave *= audible_weight(cycles[self.carrier] * self.multiples[:, None])
        both = self._gains @ wave
        before, after = both[:channels].T, both[channels:].T
        np.multiply(after - before, self.progress(frames)[:, None], out=out, casting="same_kind")
        out += before


class Work:
    """Room for the partials that move, made once."""

    def __init__(self) -> None:
        """Room for as many values as are worked on at once."""
        self._turns, self._whole = np.empty(_MOVING_VALUES), np.empty(_MOVING_VALUES)
        self._wave = np.empty(_MOVING_VALUES, dtype=np.float32)

    def shaped(
        self, partials: int, frames: int
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float32]]:
        """Three arrays of partials x frames; room is made where a single frame needs more."""
        count = partials * frames
        if count > len(self._turns):
            self._turns, self._whole = np.empty(count), np.empty(count)
            self._wave = np.empty(count, dtype=np.float32)
        shape = (partials, frames)
        turns, whole, wave = self._turns[:count], self._whole[:count], self._wave[:count]
        return turns.reshape(shape), whole.reshape(shape), wave.reshape(shape)


def _rms(gains: NDArray[np.float64]) -> float:
    return float(np.sqrt(np.square(gains).sum() / 2))


def _all_but(these: NDArray[np.intp], count: int) -> NDArray[np.intp]:
    others = np.ones(count, dtype=bool)
    others[these] = False
    return np.flatnonzero(others)
