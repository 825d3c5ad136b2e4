"""What a pitch meter shows when a string sounds: the offset that it was tuned to, plus the cabinet's drop.

Conventions: a string is read in a *state*, under the bar or without it. The drop counts from where the
string was tuned, with only its own changes engaged: there it reads its bare offset.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from tonegen.drop import Drop
from tonegen.errors import BadValue
from tonegen.instrument import Grip, Instrument, State, TuningPoint, parse_travel
from tonegen.sounding import SoundingTone, tones_of_grip
from tonegen.temperament import Temperament
from tonegen.words import signed


@dataclass(frozen=True, slots=True)
class Reading:
    """A string as it sounds in a state: `tone` has its note, Hz, offset and drop, and the fret."""

    tone: SoundingTone
    string: int
    state: State

    @property
    def cents(self) -> float:
        """What a meter shows, in cents from the note at equal temperament: offset and drop together."""
        return self.tone.offset_cents + self.tone.drop_cents

    def __str__(self) -> str:
        """+3.9 with A+B."""
        return f"{signed(self.cents, 1)} with {self.state}"


def reading(
    instrument: Instrument,
    temperament: Temperament,
    drop: Drop,
    reference_hz: float,
    string: int,
    state: State,
    fret: float = 0.0,
) -> Reading:
    """What a meter shows for a string in a state under the bar.

    Raises BadValue for an unknown string, a fret off the neck, or another instrument's temperament.

    >>> from tonegen.presets import drop, instrument
    >>> from tonegen.temperament import EQUAL
    >>> e9, soft = instrument("e9-ten-string"), drop("demo-stiff-cabinet")
    >>> low_e = reading(e9, EQUAL, soft, 440.0, 8, e9.state(["A"]))
    >>> low_e.tone.name, low_e.tone.drop_cents, low_e.cents, round(low_e.tone.hz, 3)
    ('E3', -0.8, -0.8, 164.738)
    """
    instrument.string(string)
    grip = Grip(f"string {string}", (string,))
    (tone,) = tones_of_grip(instrument, grip, state, fret, temperament, drop, reference_hz)
    return Reading(tone, string, state)


def states_played(instrument: Instrument, played: Iterable[State] | None = None) -> tuple[State, ...]:
    """Open, then the states that are played; of a chart those of its columns and of the saved grips.

    >>> from tonegen.presets import instrument
    >>> [str(state) for state in states_played(instrument("e9-ten-string"))][:4]
    ['open', 'A', 'B', 'C']
    """
    if played is None:
        points = [point for point in instrument.tuning_points() if len(point.changes) > 1 or point.travel < 1]
        singles = ([change.name] for change in instrument.changes)
        grips = (grip.changes for grip in instrument.grips)
        states = (*singles, *(point.travels for point in points), *grips)
        played = [instrument.state(each) for each in states]
    by_travels = {tuple(state.travels.items()): state for state in (instrument.state(), *played)}
    return tuple(by_travels.values())


def readings_by_point(
    instrument: Instrument,
    temperament: Temperament,
    drop: Drop,
    reference_hz: float,
    states: Iterable[State],
) -> Mapping[TuningPoint, tuple[Reading, ...]]:
    """What a meter shows for each tuning point in those of these states where the string drops.

    A string that is between its stops in a state is at none of its points, and left out.

    >>> from tonegen.presets import drop, instrument
    >>> from tonegen.temperament import EQUAL
    >>> e9, soft = instrument("e9-ten-string"), drop("demo-stiff-cabinet")
    >>> shown = readings_by_point(e9, EQUAL, soft, 440.0, states_played(e9))[TuningPoint(8, ("F",))]
    >>> [(str(each.state), each.cents) for each in shown]
    [('A+F', -0.8), ('A+B+F', -1.5)]
    """
    found: dict[TuningPoint, list[Reading]] = {}
    for state in states:
        for string in (each.number for each in instrument.strings):
            if not instrument.stands_at_a_stop(string, state):
                continue
            shown = reading(instrument, temperament, drop, reference_hz, string, state)
            if shown.tone.drop_cents:
                found.setdefault(instrument.point(string, state), []).append(shown)
    return {point: tuple(found[point]) for point in sorted(found)}


def parse_place(text: str, instrument: Instrument) -> tuple[int, State]:
    """A string in a state as it is typed: "8" open, "8:A+B" with both, "8:A:0.5" with A at half its travel.

    Raises BadValue for anything else, and for changes that exclude each other.

    >>> from tonegen.presets import instrument
    >>> string, state = parse_place("8:A+B", instrument("e9-ten-string"))
    >>> string, str(state)
    (8, 'A+B')
    """
    number, _, engaged = text.strip().partition(":")
    if not (number.isascii() and number.isdigit() and len(number) < 3):
        raise BadValue(f'"{text}" is not a string in a state; write 8 for string 8 open, 8:A+B with A and B')
    travels = dict(parse_travel(part) for part in filter(str.strip, engaged.split("+")))
    instrument.string(int(number))
    return int(number), instrument.state(travels)


def place_in_words(string: int, state: State) -> str:
    """A string in a state as it is said.

    >>> place_in_words(8, State({"A": 1.0, "B": 1.0})), place_in_words(8, State({}))
    ('string 8 with A+B', 'string 8 open')
    """
    return f"string {string} {f'with {state}' if state.travels else 'open'}"
