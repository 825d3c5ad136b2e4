"""Tones that start, glide, change level and stop without a click, block by block.

Conventions: time is a whole number of *frames* since the player's first. Every change is a command that
starts at the next block. While it runs, *gains* go from where they are to where they shall be, all along one
raised cosine, and frequencies evenly in cents; then the steady bank takes over with the phases reached.

A rise of more than 6 dB is no single step: it goes up by 6 dB along the ramp that was asked for, then by 6 dB
more every quarter of a second. A fade-in from silence is free of that.

It cannot clip: the levels of a timbre sum to 1, the shares of the tones sum to at most 1, and every gain on
its way is the same mixture of two sets of gains that keep to that, under the ceiling.

Partials of several tones at one frequency are in phase, however each came there, unless a timbre says where
they start: what is pure stands still where it is loudest, and its level is not left to chance.

Commands are worked out in the thread of the caller and handed over in a queue; the thread that pulls blocks
takes no lock.

What was pulled ahead of what is heard can be pulled again from any frame of the last second; what is
commanded then begins there.
"""

import threading
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import ceil, log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import BadValue
from tonegen.interval import PURE_BEATS_PER_SECOND, Ratio
from tonegen.synthesis.bank import DEVICE_COLUMNS, HIGHEST_CYCLES_PER_FRAME, Bank
from tonegen.synthesis.motion import Motion, MotionTarget, Work
from tonegen.synthesis.timbre import Place, Tone, linear_from_db

QUIET_LEVEL_DBFS: Final = -24.0
CEILING_DBFS: Final = -6.0
LOWEST_LEVEL_DBFS: Final = -120.0
FADE_SECONDS: Final = 0.5
RAMP_SECONDS: Final = 0.05
SHORTEST_RAMP_SECONDS: Final = 0.005  # a shorter one is a click
LONGEST_RAMP_SECONDS: Final = 600.0
# Nothing that sounds grows louder than this at once, and then no faster than by as much again in each step.
HIGHEST_STEP_DB: Final = 6.0
RISE_SECONDS: Final = 0.25
LOWEST_SAMPLE_RATE: Final = 8_000
HIGHEST_SAMPLE_RATE: Final = 384_000
# How far back a frame may lie from which blocks are pulled again.
KEPT_SECONDS: Final = 1.0
# How long other threads may go on while one waits that a block of sound, or a note, depends on.
SWITCH_SECONDS: Final = 0.0005

# NIOSH Publication 98-126 (1998): recommended exposure limit 85 dBA over 8 hours, 3 dB exchange rate.
HEARING_CAUTION: Final = (
    "Sustained tones can harm hearing, in-ear monitors above all: start low. NIOSH recommends at most "
    "8 hours a day at 85 dBA, and half the time for every 3 dB more; follow your local rules, and ask an "
    "audiologist."
)

# What a device's block leaves time for, with room to spare.
_MOST_MOVING_PARTIALS: Final = 2048


class Player:
    """Sustained tones for a device or a file: commands from any thread, blocks pulled by one.

    sample_rate : whole hz, 8000 to 384000
    channels : 1 or 2; with 1, tones at the left or the right are heard in the middle
    level_dbfs : what all the tones together cannot exceed, at most the ceiling
    columns : `bank.DEVICE_COLUMNS` or `bank.FILE_COLUMNS`
    Raises BadValue for numbers out of range.

    >>> player = Player(48000)
    >>> player.set([Tone(220, name="low"), Tone(275.6, name="high")])
    >>> block = np.empty((128, 2), dtype=np.float32)
    >>> player.pull(block)
    >>> player.frame, bool(abs(block).max() < 0.001)
    (128, True)
    """

    def __init__(
        self,
        sample_rate: int,
        channels: int = 2,
        level_dbfs: float = QUIET_LEVEL_DBFS,
        columns: int = DEVICE_COLUMNS,
    ) -> None:
        """Silent until tones are set."""
        if not (LOWEST_SAMPLE_RATE <= sample_rate <= HIGHEST_SAMPLE_RATE and sample_rate == int(sample_rate)):
            raise BadValue(
                f"sample rate {sample_rate:g} is out of range; give a whole number of Hz, "
                f"{LOWEST_SAMPLE_RATE} to {HIGHEST_SAMPLE_RATE}, such as 48000"
            )
        if channels not in (1, 2):
            raise BadValue(f"{channels} channels are not possible; give 1 or 2")
        self.sample_rate = int(sample_rate)
        self.channels = channels
        self.frame = 0
        self._columns = columns
        self._level_dbfs = checked_level_dbfs(level_dbfs)
        self._muted = False
        self._tones: tuple[Tone, ...] = ()
        self._started = False

        self._callers = threading.Lock()  # orders those who command; never taken by the one who pulls
        self._commands: deque[MotionTarget] = deque()
        self._next_id = 0
        self._carrier_ids: dict[str, int] = {}
        self._partial_ids: dict[tuple[str, float, float], int] = {}
        self._numbered: dict[tuple[str, float], int] = {}
        self._work = Work()
        self._motion = Motion(self._target(SHORTEST_RAMP_SECONDS, None), 0, None)
        self._taken_over = deque([(0, self._motion)])  # the motions of the last second, and from which frame
        self._commanded_frame = 0  # where the last command began that has begun

    def set(
        self,
        tones: Sequence[Tone],
        *,
        glide_seconds: float = RAMP_SECONDS,
        ramp_seconds: float | None = None,
    ) -> None:
        """Sound these tones from the next block on.

        A tone whose name sounds already glides there with its phase kept; new ones fade in, others fade out.
        Tones that decay are picked again.
        ramp_seconds : of levels and fades; at first a slow fade-in, later a short ramp, when left out
        Raises BadValue for a name that is given twice, or times out of range.
        """
        named = tuple(
            tone if tone.name else replace(tone, name=str(index)) for index, tone in enumerate(tones)
        )
        names = [tone.name for tone in named]
        for name in names:
            if names.count(name) > 1:
                raise BadValue(f'two tones are named "{name}"; give each its own name')
        with self._callers:
            if ramp_seconds is None:
                ramp_seconds = RAMP_SECONDS if self._started else FADE_SECONDS
            ramp_seconds = checked_ramp_seconds(ramp_seconds)
            glide_seconds = checked_ramp_seconds(glide_seconds)
            self._tones = named
            self._started = True
            self._partial_ids = {key: known for key, known in self._partial_ids.items() if key[0] in names}
            for tone in named:
                if tone.timbre.decay_db_per_second:
                    self._forget(tone.name)
            self._commands.append(self._target(ramp_seconds, glide_seconds))

    def glide(self, hz: Mapping[str, float], seconds: float) -> None:
        """Move the named tones to other frequencies, evenly in cents, phases kept.

        Raises BadValue for a name that does not sound.
        """
        with self._callers:
            known = {tone.name for tone in self._tones}
            for name in hz:
                if name not in known:
                    sounding = ", ".join(sorted(known)) or "none"
                    raise BadValue(f'no tone named "{name}" sounds; those that do: {sounding}')
            seconds = checked_ramp_seconds(seconds)
            self._tones = tuple(
                replace(tone, hz=hz[tone.name]) if tone.name in hz else tone for tone in self._tones
            )
            self._commands.append(self._target(min(RAMP_SECONDS, seconds), seconds))

    def level(self, level_dbfs: float, *, ramp_seconds: float = RAMP_SECONDS) -> None:
        """Change the level of everything; glides go on. Raises BadValue above the ceiling."""
        with self._callers:
            level_dbfs = checked_level_dbfs(level_dbfs)
            ramp_seconds = checked_ramp_seconds(ramp_seconds)
            self._level_dbfs = level_dbfs
            self._commands.append(self._target(ramp_seconds, None))

    def mute(self, muted: bool, *, ramp_seconds: float = RAMP_SECONDS) -> None:
        """Fall silent, or sound again where the phases would be; glides go on."""
        with self._callers:
            ramp_seconds = checked_ramp_seconds(ramp_seconds)
            self._muted = muted
            self._commands.append(self._target(ramp_seconds, None))

    def stop(self, fade_seconds: float = FADE_SECONDS) -> None:
        """Fade everything out; `finished` is true once it is silent."""
        with self._callers:
            fade_seconds = checked_ramp_seconds(fade_seconds)
            self._tones = ()
            self._commands.append(self._target(fade_seconds, None))

    def rms_heard(self) -> float:
        """How loud it is at this moment, as an rms, beats and decay left out; 0 where it is silent."""
        return self._motion.rms_heard(self.frame)

    @property
    def finished(self) -> bool:
        """Silent: no tone sounds, fades, or waits to be set."""
        motion = self._motion
        return not self._commands and len(motion.target.ids) == 0 and self.frame >= motion.end

    def pull(self, out: NDArray[np.float32]) -> None:
        """Fill the next block, frames x channels, C-contiguous. For one thread, a device's or a writer's."""
        frames = len(out)
        self._begin_commands()
        done = 0
        while done < frames:
            motion, frame = self._motion, self.frame + done
            if motion.target.then is not None and frame >= motion.start + motion.ramp_frames:
                motion = self._take_over(Motion(motion.target.then, frame, motion), frame)
            until = motion.end if motion.target.then is None else motion.start + motion.ramp_frames
            moving = min(max(until - frame, 0), frames - done)
            if moving:
                motion.render_moving(out[done : done + moving], frame, self._work)
                done += moving
                continue
            if motion.start < motion.end:
                motion = self._take_over(motion.settled(), frame)
            motion.render_at_rest(out[done:], frame)
            done = frames
        self.frame += frames

    def go_to(self, frame: int) -> None:
        """Pull from this frame next, where it was pulled before or comes next.

        For the thread that pulls. It goes back by `KEPT_SECONDS` at most, and never behind a command that has
        begun: `frame` says where it stands.
        """
        self.frame = max(frame, self._commanded_frame, self._taken_over[0][0])
        while self._taken_over[-1][0] > self.frame:
            self._taken_over.pop()
        self._motion = self._taken_over[-1][1]

    def _take_over(self, motion: Motion, frame: int) -> Motion:
        """Sound this motion from a frame on, and remember what sounded before."""
        self._motion = motion
        self._taken_over.append((frame, motion))
        kept_from = frame - KEPT_SECONDS * self.sample_rate
        while len(self._taken_over) > 2 and self._taken_over[1][0] < kept_from:
            self._taken_over.popleft()
        return motion

    def _begin_commands(self) -> None:
        """Start what was commanded since the last block.

        Many changes within one ramp would pile up what is fading out: then the latest waits for the ramp to
        end, and those that it overtook are passed over, all but their glides.
        """
        while self._commands:
            command = self._commands[0]
            together = len(command.ids) + len(self._motion.ids)
            if together <= _MOST_MOVING_PARTIALS or self.frame >= self._motion.end:
                self._take_over(Motion(self._commands.popleft(), self.frame, self._motion), self.frame)
                self._commanded_frame = self.frame
            elif len(self._commands) > 1:
                self._commands.popleft()
                if self._commands[0].glide_frames is None:
                    self._commands[0] = replace(self._commands[0], glide_frames=command.glide_frames)
            else:
                return

    def partial_phase_turns(self, name: str, partial: float, frame: int | None = None) -> float:
        """Phase of a partial, 0 to 1, as the bank has it at a frame: the next one when left out.

        partial : its number, the multiple before any stiffness. Right for frames since the last command.
        Raises BadValue when no such partial is made.
        """
        known = self._numbered.get((name, float(partial)))
        if known is None:
            raise BadValue(f'no tone named "{name}" has a partial {partial:g} that sounds')
        motion = self._motion
        at = np.flatnonzero(motion.ids == known)
        if len(at) == 0:
            return 0.0  # its command waits for the next block
        return float(motion.turns_at((self.frame if frame is None else frame) - motion.start)[at[0]])

    def beat_phase_turns(
        self, low: str, high: str, ratio: Ratio, frame: int | None = None, multiple: int = 1
    ) -> float:
        """Phase of the beat of two coincident partials, 0 to 1: loudest at 0, faintest at half.

        multiple : which pair of them, 1 for the lowest.
        Raises BadValue when one of the two partials is not made.
        """
        frame = self.frame if frame is None else frame
        above = self.partial_phase_turns(high, ratio.lower * multiple, frame)
        below = self.partial_phase_turns(low, ratio.upper * multiple, frame)
        return (above - below) % 1.0

    def _target(self, ramp_seconds: float, glide_seconds: float | None) -> MotionTarget:
        """The tones as they are now, worked out for the one who pulls."""
        tones, rate = self._tones, self.sample_rate
        share = 0.0 if self._muted else float(linear_from_db(self._level_dbfs))
        share /= max(1.0, sum(tone.level for tone in tones))
        self._carrier_ids = {
            tone.name: self._carrier_ids.get(tone.name) or self._fresh_id() for tone in tones
        }
        self._numbered = {}
        rows: list[tuple[int, int, float, float, float]] = []
        gains: list[tuple[float, ...]] = []
        for index, tone in enumerate(tones):
            timbre = tone.timbre
            multiples, levels = tone.partial_multiples(), tone.heard_levels() * (share * tone.level)
            made = multiples * tone.hz < HIGHEST_CYCLES_PER_FRAME * rate
            for number, turns, multiple, level in zip(
                np.array(timbre.multiples)[made],
                np.array(timbre.phases_turns)[made],
                multiples[made],
                levels[made],
                strict=True,
            ):
                known = self._partial_id(tone.name, float(number), float(multiple))
                rows.append((known, index, multiple, turns, timbre.decay_db_per_second / rate))
                gains.append(self._in_place(float(level), tone.place))
        table = np.array(rows, dtype=np.float64).reshape(len(rows), 5)
        gain_table = np.array(gains, dtype=np.float64).reshape(len(rows), self.channels)
        carrier = table[:, 1].astype(np.intp)
        cycles_per_frame = np.array([tone.hz for tone in tones], dtype=np.float64) / rate
        meeting = _meeting(cycles_per_frame[carrier] * table[:, 2] * rate)
        drawn = table[:, 3] % 0.5 != 0  # a phase that a timbre gives is its own; half a turn is a sign
        meeting[drawn] = len(rows) + np.arange(np.count_nonzero(drawn))
        target: MotionTarget | None = None
        shares = self._shares_of_a_rise(float(np.sqrt(np.square(gain_table).sum() / 2)), ramp_seconds)
        for number, rise in reversed([*enumerate(shares)]):
            first = number == 0
            target = MotionTarget(
                ids=table[:, 0].astype(np.int64),
                carrier=carrier,
                multiples=table[:, 2].copy(),
                start_turns=table[:, 3].copy(),
                decay_db_per_frame=table[:, 4].copy(),
                gains=gain_table * rise,
                carrier_ids=np.array(list(self._carrier_ids.values()), dtype=np.int64),
                cycles_per_frame=cycles_per_frame,
                meeting=meeting,
                bank=Bank(
                    cycles_per_frame[carrier] * table[:, 2], gain_table * rise, table[:, 4], self._columns
                ),
                ramp_frames=round((ramp_seconds if first else RISE_SECONDS) * rate),
                glide_frames=round(glide_seconds * rate) if first and glide_seconds is not None else None,
                then=target,
            )
        assert target is not None
        return target

    def _shares_of_a_rise(self, rms: float, ramp_seconds: float) -> list[float]:
        """What the gains are multiplied by on the way to this rms, step after step; the last is 1."""
        heard = self.rms_heard() if rms else 0.0
        if heard < float(linear_from_db(LOWEST_LEVEL_DBFS)):  # silence, or what is left of a fade
            return [1.0]
        step = float(linear_from_db(HIGHEST_STEP_DB))
        steps = ceil(log(rms / heard, step) - 1e-9)  # what is exactly one step is one
        if steps <= 1 or ramp_seconds >= steps * RISE_SECONDS:
            return [1.0]
        return [*(heard / rms * step**number for number in range(1, steps)), 1.0]

    def _in_place(self, level: float, place: Place) -> tuple[float, ...]:
        """The gain of each channel."""
        if self.channels == 1:
            return (level,)
        return (level * (place != Place.RIGHT), level * (place != Place.LEFT))

    def _partial_id(self, name: str, number: float, multiple: float) -> int:
        key = (name, number, multiple)
        if key not in self._partial_ids:
            self._partial_ids[key] = self._fresh_id()
        self._numbered[name, number] = self._partial_ids[key]
        return self._partial_ids[key]

    def _forget(self, name: str) -> None:
        """Restart the partials of a tone."""
        self._partial_ids = {key: known for key, known in self._partial_ids.items() if key[0] != name}

    def _fresh_id(self) -> int:
        self._next_id += 1
        return self._next_id


def _meeting(hz: NDArray[np.float64]) -> NDArray[np.intp]:
    """A number for each partial, the same for those that do not beat with each other.

    >>> _meeting(np.array([1100.0, 825.0, 1100.0005])).tolist()
    [1, 0, 1]
    """
    rising = np.argsort(hz, kind="stable")
    numbers = np.empty(len(hz), dtype=np.intp)
    numbers[rising] = np.cumsum(np.diff(hz[rising], prepend=hz[rising][:1]) >= PURE_BEATS_PER_SECOND)
    return numbers


def checked_level_dbfs(level_dbfs: float) -> float:
    """A level between -120 dBFS and the ceiling. Raises BadValue outside that.

    >>> checked_level_dbfs(-30)
    -30.0
    """
    if not LOWEST_LEVEL_DBFS <= level_dbfs <= CEILING_DBFS:  # false for NaN as well
        raise BadValue(
            f"level {level_dbfs:g} dBFS is out of range; "
            f"give {LOWEST_LEVEL_DBFS:g} to {CEILING_DBFS:g}, the ceiling"
        )
    return float(level_dbfs)


def checked_ramp_seconds(seconds: float) -> float:
    """The time of a ramp, a fade or a glide, 0.005 to 600 seconds. Raises BadValue outside that.

    >>> checked_ramp_seconds(0.05)
    0.05
    """
    if not SHORTEST_RAMP_SECONDS <= seconds <= LONGEST_RAMP_SECONDS:  # false for NaN as well
        raise BadValue(
            f"{seconds:g} seconds are not a ramp; "
            f"give {SHORTEST_RAMP_SECONDS:g} (shorter ones click) to {LONGEST_RAMP_SECONDS:g}"
        )
    return float(seconds)
