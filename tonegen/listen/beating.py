"""Two tones heard while one of them is tuned: how they beat, told again and again while they ring.

One use, by whoever has the samples:

    hearing = BeatHearing(48000, pair)           # two strings, or one beside a tone that stands by itself
    for block in blocks:                         # mono, float64, of any size
        for each in hearing.feed(block):         # HeardBeating: a second after the pick, then twice a second
            ...
    hearing.sounds(hz)                           # partials that the program itself plays meanwhile

Both strings are picked together, or one shortly after the other. What is told is of the last two seconds, of
four where they should hardly beat.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.interval import partial_hz
from tonegen.listen.chord import BEST_SECONDS, HeardBeat, heard_together
from tonegen.listen.clock import CardClock
from tonegen.listen.heard import UnreadSound, heard
from tonegen.listen.live import without_own
from tonegen.listen.picks import ATTACK_SECONDS, PickFinder
from tonegen.listen.slow import FASTEST_BEATS, slow_beat
from tonegen.listen.spectrum import Expected

Array = NDArray[np.float64]

_FIRST_SECONDS: Final = 1.0
_EVERY_SECONDS: Final = 0.5
_SLOW_BEATS: Final = 0.5
_SLOW_SECONDS: Final = 4.0
_OWN_SECONDS: Final = 2.0  # before a pick, from which the program's own tones are known
_BEFORE_PICK_SECONDS: Final = 0.03
_FROM_THE_BEGINNING_SECONDS: Final = 0.1  # what seems to be picked then rings already
_SETTLES_SECONDS: Final = 0.3  # until a tone that the program begins is steady
_SURE: Final = 2.5


class Alone(StrEnum):
    """Which tone of a pair is the only string, beside one that stands by itself."""

    NEITHER = ""
    LOW = "low"
    HIGH = "high"


@dataclass(frozen=True, slots=True)
class BeatingPair:
    """Two tones as they would sound at their targets, and the partial of each that beats.

    beats_per_second : as it should be, wide positive; within : how far from that it still is right.
    alone : where only one of them is a string that is heard.
    """

    low: Expected
    high: Expected
    low_number: int
    high_number: int
    beats_per_second: float
    within: float
    alone: Alone = Alone.NEITHER

    def is_right(self, beat: HeardBeat) -> bool:
        """Whether a beat is as it should be, heard surely enough, and on the right side where it has one.

        >>> pair = BeatingPair(Expected(5, "B3", 247.0), Expected(4, "E4", 330.0), 4, 3, 0.8, 0.1)
        >>> [pair.is_right(HeardBeat(rate, 0.03, True)) for rate in (0.85, -0.85, 1.0)]
        [True, False, False]
        """
        if beat.error > self.within:
            return False
        if abs(self.beats_per_second) <= self.within and not beat.side_is_known:
            return abs(beat.beats_per_second) <= self.within
        return beat.side_is_known and abs(beat.beats_per_second - self.beats_per_second) <= self.within


@dataclass(frozen=True, slots=True)
class HeardBeating:
    """How a pair beat until `seconds`, counted from the first block on; or why that cannot be said.

    right_seconds : for how long it has been as it should be without a break but for the silence in between.
    rang_before : whether the strings rang already when listening began.
    """

    seconds: float
    beat: HeardBeat | UnreadSound
    right_seconds: float
    rang_before: bool = False


class BeatHearing:
    """Hears how a pair beats in blocks as they come; keeps some seconds of sound, and no thread or device."""

    def __init__(self, sample_rate: int, pair: BeatingPair, clock: CardClock | None = None) -> None:
        """Take the rate at which blocks come, and the clock of the card, None for an exact one."""
        self.sample_rate = sample_rate
        self.pair = pair
        self._clock = clock or CardClock(0.0, 0.0)
        slow = abs(pair.beats_per_second) < _SLOW_BEATS and pair.alone is Alone.NEITHER
        self._longest = _SLOW_SECONDS if slow else BEST_SECONDS
        self._own_hz = np.zeros(0)
        self._own_since = 0
        self._finder = PickFinder(sample_rate)
        self._sound = np.zeros(0)
        self._frames = 0  # so far
        self._rings: int | None = None  # the frame from which the strings ring by themselves
        self._before = np.zeros(0)  # what there was before they were picked
        self._before_first = 0
        self._next_look = 0
        self._rang_before = False
        self._told = False  # anything of this pick
        self._looked = 0
        self._right_seconds = 0.0

    def sounds(self, hz: Array) -> None:
        """Take out these partials, which the program plays itself, shape (k,); empty when it is silent."""
        self._own_hz = np.unique(hz[hz < 0.5 * self.sample_rate])
        self._own_since = self._frames + round(_SETTLES_SECONDS * self.sample_rate)

    def feed(self, block: Array, *, behind: bool = False) -> tuple[HeardBeating, ...]:
        """Take the next block, shape (frames,), mono. Returns what is heard anew, mostly nothing.

        behind : more sound is there already, so that there is no time to listen to this.
        """
        self._frames += len(block)
        kept = round((self._longest + _OWN_SECONDS + _FIRST_SECONDS) * self.sample_rate)
        self._sound = np.concatenate([self._sound, block])[-kept:]
        for picked in self._finder.feed(block):
            if picked >= self._own_since:  # else it is the program's own tone that begins
                self._picked(picked)
        if self._rings is None or behind or self._frames < self._next_look:
            return ()
        self._next_look = self._frames + round(_EVERY_SECONDS * self.sample_rate)
        return self._look(self._rings)

    def _picked(self, picked: int) -> None:
        """Strings that are picked one shortly after the other ring together from the last on."""
        waits = self._rings is not None and not self._told
        if not waits:
            end = picked - round(_BEFORE_PICK_SECONDS * self.sample_rate)
            self._before_first = max(
                end - round(_OWN_SECONDS * self.sample_rate), self._first, self._own_since
            )
            self._before = self._sound[self._before_first - self._first : max(end - self._first, 0)].copy()
        self._told = False
        self._rang_before = picked < round(_FROM_THE_BEGINNING_SECONDS * self.sample_rate)
        self._rings = picked + round(ATTACK_SECONDS * self.sample_rate)
        self._next_look = self._rings + round(_FIRST_SECONDS * self.sample_rate)

    @property
    def _first(self) -> int:
        return self._frames - len(self._sound)

    def _look(self, rings: int) -> tuple[HeardBeating, ...]:
        first = max(rings, self._frames - round(self._longest * self.sample_rate))
        part = self._sound[first - self._first :]
        if len(self._own_hz):
            cycles = self._own_hz / self.sample_rate
            part = without_own(self._before, part, first - self._before_first, cycles)
        try:
            beat = self._beat(part)
        except UnreadSound as why:
            # What rang and was told has died away; that needs no words.
            told, self._rings = self._told, None
            return () if told else (self._heard(why),)
        if not self.pair.is_right(beat):
            # What is not sure says nothing against it.
            self._right_seconds *= beat.error > self.pair.within
        else:
            begin = first if not self._told or not self._right_seconds else max(first, self._looked)
            self._right_seconds += (self._frames - begin) / self.sample_rate
        self._told, self._looked = True, self._frames
        return (self._heard(beat),)

    def _heard(self, beat: HeardBeat | UnreadSound) -> HeardBeating:
        seconds = self._frames / self.sample_rate
        return HeardBeating(seconds, beat, self._right_seconds, self._rang_before)

    def _beat(self, part: Array) -> HeardBeat:
        pair = self.pair
        if pair.alone is not Alone.NEITHER:
            return self._beat_alone(part)
        if abs(pair.beats_per_second) <= pair.within:
            hz = float(partial_hz(pair.low.hz, pair.low_number, pair.low.stiffness or 0.0))
            slow = slow_beat(part, self.sample_rate, hz)
            if slow is not None and slow.highest < FASTEST_BEATS:
                rate = slow.beats_per_second
                error = max(slow.highest - rate, rate - slow.lowest) / 2
                return HeardBeat(rate, max(error, _least_error(hz)), False)
        chord = heard_together(part, self.sample_rate, (pair.low, pair.high), self._longest)
        beat = chord.beat(0, pair.low_number, 1, pair.high_number)
        if beat is None:
            raise UnreadSound(
                f"partial {pair.low_number} of the lower string, or {pair.high_number} of the upper, is not "
                "heard; pick both harder, nearer to the bridge"
            )
        return beat

    def _beat_alone(self, part: Array) -> HeardBeat:
        """Of a string against a tone that is known, by the string's own partial."""
        pair, is_low = self.pair, self.pair.alone is Alone.LOW
        string, tone = (pair.low, pair.high) if is_low else (pair.high, pair.low)
        number, other = (pair.low_number, pair.high_number) if is_low else (pair.high_number, pair.low_number)
        found = heard(part, self.sample_rate, (string,))
        rings = found.ringing
        at = np.flatnonzero(rings.numbers == number)
        if len(at):
            hz = float(rings.hz[at[0]] * np.exp2(rings.cents[at[0]] / 1200))
            error = float(np.sqrt(rings.variances[at[0]]))
        else:
            hz = float(partial_hz(found.hz, number, found.stiffness))
            error = found.error_cents
        hz *= float(np.exp2(self._clock.cents / 1200))
        known = float(partial_hz(tone.hz, other, tone.stiffness or 0.0))
        rate = known - hz if is_low else hz - known
        error = float(np.hypot(error, self._clock.error_cents)) * hz * np.log(2) / 1200
        error = max(error, _least_error(hz))
        return HeardBeat(rate, error, abs(rate) > _SURE * error)


def _least_error(hz: float) -> float:
    """No pitch of a real string is surer than 0.03 cents."""
    return hz * 0.03 * float(np.log(2)) / 1200


def strings_of(pair: BeatingPair) -> Sequence[int]:
    """The numbers of the strings that are heard."""
    both = (Alone.LOW, pair.low), (Alone.HIGH, pair.high)
    return [each.string for which, each in both if pair.alone in (Alone.NEITHER, which)]
