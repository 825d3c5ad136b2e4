"""The steps of a plan for tuning by ear, what each leaves uncertain, and the checks at its end.

How well beats are counted is our model (common practice, no source): half a beat in five seconds;
up to 4 beats a second is easy, then every 4 more double the error; unisons, octaves and fifths are heard
best, and the higher the coincident pair lies among the partials, the weaker it is.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot, log2
from typing import Final

from tonegen.instrument import Instrument, State, TuningPoint
from tonegen.interval import SLOWEST_COUNTABLE_BEATS_PER_SECOND, Ratio, coincident_partials_hz
from tonegen.words import counted, side, stiffness_not_known

COUNTED_SECONDS: Final = 5.0
_COUNT_ERROR_BEATS: Final = 0.5
_EASY_BEATS_PER_SECOND: Final = 4.0


@dataclass(frozen=True, slots=True)
class Reference:
    """A tone that stands by itself: one that the program plays, or the bass."""

    name: str
    hz: float

    def __str__(self) -> str:
        """Its name and frequency."""
        return f"{self.name} ({self.hz:.2f} Hz)"


Node = TuningPoint | Reference


@dataclass(frozen=True, slots=True)
class TuningStep:
    """Tune one point against something that is tuned, in a state, under the bar at a fret.

    low_hz, high_hz : the two tones as they sound then, drop and bar included. tune_is_high : whether the
    point that is tuned plays the upper one. low_stiffness, high_stiffness : B of their partials.
    multiple : which coincident pair is listened to, 1 for the lowest.
    beats_per_second : signed target. counting_error_cents : of counting in this step and of setting the bar;
    stiffness_error_cents : by string, how sharp the step leaves the point if that string is stiffer than
    reckoned by one standard deviation; accuracy_cents : of the point, with all steps before it. All are one
    standard deviation.
    """

    tune: TuningPoint
    against: Node
    state: State
    fret: float
    ratio: Ratio
    low_hz: float
    high_hz: float
    tune_is_high: bool
    counting_error_cents: float
    low_stiffness: float = 0.0
    high_stiffness: float = 0.0
    stiffness_error_cents: tuple[tuple[int, float], ...] = ()
    accuracy_cents: float = 0.0
    multiple: int = 1

    @property
    def beats_per_second(self) -> float:
        """Wide positive, narrow negative."""
        low, high = self._partials_hz
        return high - low

    @property
    def coincident_hz(self) -> float:
        """Where to listen: midway between the two partials."""
        return sum(self._partials_hz) / 2

    @property
    def error_cents(self) -> float:
        """Of this step alone: counting, bar and stiffness."""
        return hypot(self.counting_error_cents, *(cents for _, cents in self.stiffness_error_cents))

    @property
    def _partials_hz(self) -> tuple[float, float]:
        low, high = coincident_partials_hz(
            self.low_hz,
            self.high_hz,
            self.ratio,
            low_stiffness=self.low_stiffness,
            high_stiffness=self.high_stiffness,
            multiple=self.multiple,
        )
        return float(low), float(high)

    @property
    def partials(self) -> tuple[int, int]:
        """The numbers of the two that beat, of the lower tone and of the upper."""
        return self.ratio.upper * self.multiple, self.ratio.lower * self.multiple

    @property
    def pair(self) -> str:
        """Which partials beat."""
        low, high = self.partials
        return f"partial {low} of the lower with {high} of the upper"

    @property
    def move(self) -> str:
        """Whether to raise or to lower the string once it is pure; nothing where it stays so."""
        rate = self.beats_per_second
        if abs(rate) < SLOWEST_COUNTABLE_BEATS_PER_SECOND:
            return ""
        return "raise" if (rate > 0) == self.tune_is_high else "lower"

    @property
    def count(self) -> str:
        """How to count it, and from where: "7 beats in 10 seconds, narrow: tune it pure, then lower it"."""
        if not self.move:
            return "pure: no beat in 20 seconds"
        where = side(self.beats_per_second)
        return f"{counted(self.beats_per_second)}, {where}: tune it pure, then {self.move} it"

    @property
    def sounds_like(self) -> str:
        """What is heard when the step is passed."""
        return sounds_like(self.beats_per_second)


@dataclass(frozen=True, slots=True)
class Check:
    """An interval that was not tuned by itself and closes a loop.

    within_beats_per_second : how far from its target it may be when all went as well as expected (two
    standard deviations, the counting of the check included).
    """

    low: Node
    high: Node
    state: State
    fret: float
    ratio: Ratio
    beats_per_second: float
    coincident_hz: float
    within_beats_per_second: float


@dataclass(frozen=True, slots=True)
class Order:
    """Steps in the order to take them, then the checks.

    unknown_wire : strings that are tuned and whose stiffness nobody knows; their accuracy is wider for it.
    """

    instrument: Instrument
    steps: tuple[TuningStep, ...]
    checks: tuple[Check, ...]
    unknown_wire: tuple[int, ...] = ()

    def accuracy_cents(self) -> Mapping[TuningPoint, float]:
        """Expected standard deviation of every point."""
        return {step.tune: step.accuracy_cents for step in self.steps}

    @property
    def cautions(self) -> tuple[str, ...]:
        """What no body holds, and whose stiffness nobody knows: what that does, and what helps."""
        said = []
        held = dict.fromkeys(str(step.state) for step in self.steps if not self._holds(step.state))
        if held:
            said.append(
                f"No foot and two knees hold {', '.join(held)}: press one of them by hand, "
                "or say what goes together in [body] of the instrument's file."
            )
        if self.unknown_wire:
            said.append(stiffness_not_known(self.unknown_wire, "the accuracy is wider for it"))
        return tuple(said)

    def _holds(self, state: State) -> bool:
        return self.instrument.body.holds(state.changes)


def sounds_like(beats_per_second: float) -> str:
    """A rate in words.

    >>> sounds_like(0.0), sounds_like(2.0)
    ('stands still', 'a wave that can be counted, like a slow tremolo')
    """
    rate = abs(beats_per_second)
    if rate < SLOWEST_COUNTABLE_BEATS_PER_SECOND:
        return "stands still"
    if rate < 1:
        return "a slow swell, slower than breathing out"
    if rate < _EASY_BEATS_PER_SECOND:
        return "a wave that can be counted, like a slow tremolo"
    return "a fast tremolo; count every second or fourth"


def counting_error_beats_per_second(
    beats_per_second: float, ratio: Ratio, multiple: int = 1, seconds: float = COUNTED_SECONDS
) -> float:
    """Standard deviation of a counted rate, by the model above; `multiple` says at which coincident pair.

    >>> counting_error_beats_per_second(1.0, Ratio(3, 2)), counting_error_beats_per_second(8.0, Ratio(3, 2))
    (0.1, 0.2)
    """
    upper, lower = ratio.upper * multiple, ratio.lower * multiple
    hardness = max(1.0, 1 + log2(max(upper * lower / 6, upper / 3)) / 2)
    haste: float = 2.0 ** max(0.0, (abs(beats_per_second) - _EASY_BEATS_PER_SECOND) / _EASY_BEATS_PER_SECOND)
    return _COUNT_ERROR_BEATS / seconds * hardness * haste
