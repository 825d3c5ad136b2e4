"""What can be heard against what: every interval that may tune one point, and how sure it is."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import log, log2, sqrt
from typing import Final

from tonegen.drop import Drop
from tonegen.errors import BadValue
from tonegen.instrument import Instrument, State, TuningPoint
from tonegen.interval import HIGHEST_PARTIAL_TO_TUNE_BY, Ratio, nearest_ratio, partial_hz
from tonegen.interval import beats_per_second as beat_rate
from tonegen.order.steps import Node, Reference, TuningStep, counting_error_beats_per_second
from tonegen.order.stiff import partial_error_cents, stiffness_of
from tonegen.pitch import hz_from_key, note_name
from tonegen.temperament import Temperament

_BAR_ERROR_CENTS: Final = 0.5  # of setting a bar straight over its fret
# Beats per second above which a count is hard (common practice, no source): a tone of its own is surer.
_FASTEST_TO_TUNE_BY: Final = 8.0
_UNISON: Final = Ratio(1, 1)
# In unison every partial meets its like; above the third they are too weak to count by.
_UNISON_PAIRS: Final = (1, 2, 3)


@dataclass(frozen=True, slots=True)
class StringsToTune:
    """An instrument as it is to be tuned.

    stiff : whether its strings' own stiffness is reckoned with. played : the states that grips are played in.
    """

    instrument: Instrument
    temperament: Temperament
    drop: Drop
    reference_hz: float
    stiff: bool = True
    played: Sequence[State] = ()

    def hz(self, point: TuningPoint, state: State, fret: float) -> float:
        """A point as it sounds in a state."""
        cents = self.temperament.offset_cents(self.instrument, point)
        cents += self.drop.since_tuned(self.instrument, point.string, state)
        barred = self.instrument.string(point.string).bar_semitones(fret)
        return float(hz_from_key(self.instrument.key(point) + barred, cents, self.reference_hz))

    def tone_of(self, point: TuningPoint) -> Reference:
        """A tone at the very pitch that a point is to have."""
        state = self.instrument.state(point.travels)
        note = note_name(self.instrument.key(point), self.instrument.flats)
        return Reference(f"tone {note}", self.hz(point, state, 0.0))

    def root_string(self, wanted: Sequence[TuningPoint]) -> TuningPoint:
        """The highest open string that plays the instrument's root, else the highest."""
        strings = sorted(self.instrument.strings, key=lambda string: -string.open_key)
        roots = [string for string in strings if string.open_key % 12 == self.instrument.root]
        tuned = {point for point in wanted if not point.changes}
        for string in [*roots, *strings]:
            if TuningPoint(string.number) in tuned:
                return TuningPoint(string.number)
        raise BadValue("a plan needs open strings to begin with; name at least one")

    def unison(self, point: TuningPoint, tone: Reference) -> TuningStep:
        """Tune a point to a tone that is its own, heard where that is surest."""
        state = self.instrument.state(point.travels)
        steps = self._both_ways(point, tone, state, 0.0, (tone.hz, tone.hz))
        best = min(steps, key=lambda step: step.error_cents)
        return replace(best, accuracy_cents=best.error_cents)

    def edges(
        self, points: Sequence[TuningPoint], starts: Sequence[Reference], frets: Sequence[float]
    ) -> Iterator[TuningStep]:
        """Every interval by which a point may be tuned against another, or against a reference.

        In states that the body holds: those that a grip is played in, and those that the points need anyway.
        """
        for first, second in combinations(points, 2):
            state = self._common_state(first, second)
            if state is None:
                continue
            for fret in frets:
                tones = (self.hz(first, state, fret), self.hz(second, state, fret))
                yield from self._both_ways(first, second, state, fret, tones)
        for start in starts:
            for point in points:
                state = self.instrument.state(point.travels)
                if not self.instrument.body.holds(state.changes):
                    continue
                tones = (self.hz(point, state, 0.0), start.hz)
                yield from self._both_ways(point, start, state, 0.0, tones)

    def _both_ways(
        self, first: TuningPoint, second: Node, state: State, fret: float, tones: tuple[float, float]
    ) -> Iterator[TuningStep]:
        low, high = sorted(tones)
        ratio = _ratio(low, high)
        if ratio is None:
            return
        first_is_high = tones[0] >= tones[1]
        for multiple in _UNISON_PAIRS if ratio == _UNISON else (1,):
            sounding = (state, fret, ratio, multiple, low, high)
            if not isinstance(second, TuningPoint) or first.changes or not second.changes:
                yield from _countable(self._step(first, second, first_is_high, *sounding))
            if isinstance(second, TuningPoint) and (second.changes or not first.changes):
                yield from _countable(self._step(second, first, not first_is_high, *sounding))

    def _step(
        self,
        tune: TuningPoint,
        against: Node,
        tune_is_high: bool,
        state: State,
        fret: float,
        ratio: Ratio,
        multiple: int,
        low_hz: float,
        high_hz: float,
    ) -> TuningStep:
        """A step with the errors that counting it, the bar and the strings' stiffness bring in."""
        upper, lower = ratio.upper * multiple, ratio.lower * multiple
        own, other = (lower, upper) if tune_is_high else (upper, lower)
        stiffness, own_error = self._partial(tune, state, fret, own)
        other_stiffness, other_error = 0.0, 0.0
        errors: tuple[tuple[int, float], ...] = ((tune.string, -own_error),)
        if isinstance(against, TuningPoint):
            other_stiffness, other_error = self._partial(against, state, fret, other)
            errors = (*errors, (against.string, other_error))
        low, high = (other_stiffness, stiffness) if tune_is_high else (stiffness, other_stiffness)
        beats = float(
            beat_rate(low_hz, high_hz, ratio, low_stiffness=low, high_stiffness=high, multiple=multiple)
        )
        partial = float(partial_hz(high_hz if tune_is_high else low_hz, own, stiffness))
        error = counting_error_beats_per_second(beats, ratio, multiple) / (partial * log(2) / 1200)
        if fret:
            error = sqrt(error**2 + _BAR_ERROR_CENTS**2)
        return TuningStep(
            tune,
            against,
            state,
            fret,
            ratio,
            low_hz,
            high_hz,
            tune_is_high,
            error,
            low,
            high,
            tuple(each for each in errors if each[1]),
            multiple=multiple,
        )

    def _partial(self, point: TuningPoint, state: State, fret: float, number: int) -> tuple[float, float]:
        """B of a string, and by how many cents this partial of it may be sharper than reckoned."""
        if not self.stiff:
            return 0.0, 0.0
        stiffness, error = stiffness_of(self.instrument, point, state, fret)
        return stiffness, partial_error_cents(number, stiffness, error)

    def _common_state(self, first: TuningPoint, second: TuningPoint) -> State | None:
        """The state in which both points sound, and that may be engaged for it; none when there is none."""
        if first.string == second.string:
            return None
        engaged = {**first.travels, **second.travels}
        if any(len(group & engaged.keys()) > 1 for group in self.instrument.exclusive):
            return None
        state = self.instrument.state(engaged)
        for point in (first, second):
            if self.instrument.stands_on(point.string, state) != point:
                return None
        needed = state in (self.instrument.state(point.travels) for point in (first, second))
        if not self.instrument.body.holds(state.changes) or not (needed or state in self.played):
            return None
        return state


def _countable(step: TuningStep) -> Iterator[TuningStep]:
    if abs(step.beats_per_second) <= _FASTEST_TO_TUNE_BY:
        yield step


_RATIOS: dict[int, Ratio | None] = {}


def _ratio(low_hz: float, high_hz: float) -> Ratio | None:
    """What an interval is tuned as; none where its coincident pair lies too high to be heard."""
    semitones = round(12 * log2(high_hz / low_hz))
    if semitones not in _RATIOS:
        ratio = nearest_ratio(1.0, 2 ** (semitones / 12))
        _RATIOS[semitones] = ratio if ratio.upper <= HIGHEST_PARTIAL_TO_TUNE_BY else None
    return _RATIOS[semitones]
