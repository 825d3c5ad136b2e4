"""What to tune, so that a string reads what is wanted in a state; and what else moves with it.

A reading is linear in the offsets of the tuning points that its state selects, drop added; at its stops it
hangs on one point alone. So wants are linear equations, string by string; where they leave a choice (a string
between its stops hangs on two points or more) the points move as little as can be.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.drop import Drop
from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.instrument import Grip, Instrument, State, TuningPoint
from tonegen.pitch import hz_from_key
from tonegen.reads import Reading, parse_place, place_in_words, reading
from tonegen.sounding import SoundingInterval, nominal_semitones, sound, tones_of_grip
from tonegen.synthesis.timbre import PURE
from tonegen.temperament import OwnTemperament, Temperament, string_cents
from tonegen.words import signed, typed

MET_CENTS: Final = 1e-10
_DEPENDENT: Final = 1e-9
_MOST_ROUNDS: Final = 20  # offsets bend where one raise overtakes another; a few rounds find the right piece


@dataclass(frozen=True, slots=True)
class Want:
    """This string reads so many cents from its note in this state."""

    string: int
    state: State
    cents: float

    def __str__(self) -> str:
        """String 8 with A+B at +0."""
        return f"{place_in_words(self.string, self.state)} at {signed(self.cents, None)}"


@dataclass(frozen=True, slots=True)
class Tuning:
    """A tuning point to set: read with only its own changes engaged."""

    point: TuningPoint
    before_cents: float
    cents: float
    hz: float


@dataclass(frozen=True, slots=True)
class Answer(Frozen):
    """What to tune for wants. before, after : the temperament without and with it, point by point."""

    instrument: Instrument
    drop: Drop
    reference_hz: float
    wants: tuple[Want, ...]
    before: OwnTemperament
    after: OwnTemperament
    tunings: tuple[Tuning, ...]

    def readings(self, string: int, state: State, fret: float = 0.0) -> tuple[Reading, Reading]:
        """What a string in a state reads before and after."""
        before, after = (
            reading(self.instrument, each, self.drop, self.reference_hz, string, state, fret)
            for each in (self.before, self.after)
        )
        return before, after

    def moves(self, states: Iterable[State], fret: float = 0.0) -> tuple[tuple[Reading, Reading], ...]:
        """Before and after of each tuned string in each of these states where its reading moves."""
        strings = dict.fromkeys(tuning.point.string for tuning in self.tunings)
        pairs = (self.readings(string, state, fret) for string in strings for state in states)
        return tuple((was, now) for was, now in pairs if abs(now.cents - was.cents) > _DEPENDENT)

    def beats(
        self, grip: Grip, state: State, fret: float = 0.0, *, stiff: bool = True
    ) -> tuple[tuple[SoundingInterval, SoundingInterval], ...]:
        """Before and after of each interval of a grip that moves.

        stiff : whether the strings' own stiffness is reckoned with, where it is known.
        """
        timbre = replace(PURE, follows_string=stiff)

        def intervals(temperament: Temperament) -> dict[tuple[int | None, int | None], SoundingInterval]:
            tones = tones_of_grip(
                self.instrument, grip, state, fret, temperament, self.drop, self.reference_hz, timbre
            )
            found = sound(tones, self.reference_hz).intervals
            return {(each.low.string, each.high.string): each for each in found}

        was, now = intervals(self.before), intervals(self.after)
        return tuple(
            (each, now[pair])
            for pair, each in was.items()
            if pair in now and abs(now[pair].cents - each.cents) > _DEPENDENT
        )


def parse_want(text: str, instrument: Instrument) -> Want:
    """A want as it is typed: "8:A+B=0" is string 8 reading its note with A and B down.

    Raises BadValue for anything else.

    >>> from tonegen.presets import instrument
    >>> str(parse_want("8:A+B=0", instrument("e9-ten-string")))
    'string 8 with A+B at +0'
    """
    place, separator, cents = typed(text).partition("=")
    try:
        value = float(cents)
    except ValueError:
        value = float("nan")
    if not separator or not -1200 <= value <= 1200:
        raise BadValue(
            f'"{text}" is not a want; write string, changes and the cents to read, such as 8:A+B=0'
        )
    return Want(*parse_place(place, instrument), value)


def tuned_for(
    instrument: Instrument, temperament: Temperament, drop: Drop, reference_hz: float, wants: Sequence[Want]
) -> Answer:
    """What to tune so that every want is read. Raises BadValue naming wants that exclude each other.

    >>> from tonegen.presets import drop, instrument
    >>> from tonegen.temperament import EQUAL
    >>> e9 = instrument("e9-ten-string")
    >>> answer = tuned_for(e9, EQUAL, drop("demo-stiff-cabinet"), 440.0, [parse_want("8:A=0", e9)])
    >>> [(str(each.point), each.cents, round(each.hz, 2)) for each in answer.tunings]
    [('string 8 open', 0.8, 164.89)]
    """
    before = _point_by_point(instrument, temperament)
    offsets: dict[TuningPoint, float] = {}
    for string in dict.fromkeys(want.string for want in wants):
        asked = [want for want in wants if want.string == string]
        offsets |= _solved(instrument, before, drop, asked)
    after = _moved(before, offsets)
    tunings = tuple(
        Tuning(
            point,
            before.offset_cents(instrument, point),
            cents,
            float(hz_from_key(instrument.key(point), cents, reference_hz)),
        )
        for point, cents in offsets.items()
    )
    return Answer(instrument, drop, reference_hz, tuple(wants), before, after, tunings)


def _point_by_point(instrument: Instrument, temperament: Temperament) -> OwnTemperament:
    """A temperament as the offsets of what is really tuned, so that all other stops follow from these."""
    offsets = {point: temperament.offset_cents(instrument, point) for point in instrument.tuning_points()}
    if isinstance(temperament, OwnTemperament):
        offsets |= temperament.offsets_cents
    return OwnTemperament(temperament.name, instrument.name, offsets)


def _moved(temperament: OwnTemperament, offsets: Mapping[TuningPoint, float]) -> OwnTemperament:
    return OwnTemperament(
        temperament.name, temperament.instrument_name, {**temperament.offsets_cents, **offsets}
    )


def _points_of(instrument: Instrument, before: OwnTemperament, want: Want) -> list[TuningPoint]:
    """The tuning points that a reading can hang on."""
    selected = instrument.point(want.string, want.state)
    if instrument.stands_at_a_stop(want.string, want.state):
        return [selected]
    points = instrument.points_between(want.string, want.state)
    return [each for each in points if len(each.changes) < 2 or before.given(each) is not None]


def _solved(
    instrument: Instrument, before: OwnTemperament, drop: Drop, wants: Sequence[Want]
) -> dict[TuningPoint, float]:
    """Offsets of the points of one string, by least moves; none of a point that may stay."""
    points = [*dict.fromkeys(point for want in wants for point in _points_of(instrument, before, want))]
    start = np.array([before.offset_cents(instrument, point) for point in points])

    def read(offsets: NDArray[np.float64]) -> NDArray[np.float64]:
        moved = _moved(before, dict(zip(points, map(float, offsets), strict=True)))
        return np.array([
            string_cents(instrument, moved, want.string, want.state)
            + drop.since_tuned(instrument, want.string, want.state)
            for want in wants
        ])  # fmt: skip

    notes = np.array([_note_cents(instrument, before, want) for want in wants])
    wanted = notes + np.array([want.cents for want in wants])
    offsets = start
    for _ in range(_MOST_ROUNDS):
        missing = wanted - read(offsets)
        if np.abs(missing).max() <= MET_CENTS:
            moved = zip(points, offsets, start, strict=True)
            return {point: float(now) for point, now, was in moved if abs(now - was) > _DEPENDENT}
        nudge = 2.0**-10
        rows = np.array(
            [(read(offsets + nudge * each) - read(offsets)) / nudge for each in np.eye(len(points))]
        ).T
        step, *_ = np.linalg.lstsq(rows, missing, rcond=_DEPENDENT)
        if np.abs(rows @ step - missing).max() > _DEPENDENT:
            raise BadValue(_clash(wants, rows, missing))
        offsets = offsets + step
    raise BadValue(
        f"no tuning was found for {' and '.join(map(str, wants))}; ask for it with changes at their stops"
    )


def _note_cents(instrument: Instrument, before: OwnTemperament, want: Want) -> float:
    """The note that a want counts from, in cents above the open key."""
    cents = string_cents(instrument, before, want.string, want.state)
    return 100.0 * nominal_semitones(instrument, want.string, want.state, cents)


def _clash(wants: Sequence[Want], rows: NDArray[np.float64], missing: NDArray[np.float64]) -> str:
    """Which few wants exclude each other: those without each of which the rest could be had."""
    left = [*range(len(wants))]
    for index in range(len(wants)):
        rest = [each for each in left if each != index]
        if rest and not _can_be_had(rows[rest], missing[rest]):
            left = rest
    named = [str(wants[each]) for each in left]
    if len(named) == 1:
        return f"{named[0]} cannot be had: nothing that is tuned moves it there"
    return f"wants exclude each other: {', '.join(named[:-1])} and {named[-1]}; leave one of them out"


def _can_be_had(rows: NDArray[np.float64], missing: NDArray[np.float64]) -> bool:
    found, *_ = np.linalg.lstsq(rows, missing, rcond=_DEPENDENT)
    return bool(np.abs(rows @ found - missing).max() <= _DEPENDENT)
