"""The copedent as data: every tuning point with its target and what a pitch reading must show.

A player sets each point with only its own changes engaged, and reads it there: so the cabinet's drop is in
none of these readings. What the drop does is shown beside them: how far each change sags the other strings.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from tonegen.drop import Drop
from tonegen.frozen import Frozen
from tonegen.instrument import Instrument, State, TuningPoint
from tonegen.pitch import hz_from_key
from tonegen.temperament import Temperament, is_asked
from tonegen.wire import HIGHEST_SAFE_FRACTION_OF_STRENGTH
from tonegen.words import signed


@dataclass(frozen=True, slots=True)
class CellTarget:
    """One tuning point: the note it stands for, its offset, and the Hz that a pitch reading must show.

    asked : whether the temperament was made with anything asked of it; else it was left as it was.
    """

    point: TuningPoint
    note: str
    key: int
    offset_cents: float
    hz: float
    asked: bool = True

    @property
    def offset_in_words(self) -> str:
        """Its offset to a tenth of a cent, in brackets where nobody asked anything of it."""
        offset = signed(self.offset_cents, 1)
        return offset if self.asked else f"({offset})"


@dataclass(frozen=True, slots=True)
class Copedent(Frozen):
    """All targets of an instrument, and the drop of each string by change."""

    instrument: Instrument
    reference_hz: float
    targets: tuple[CellTarget, ...]
    drop_cents: Mapping[str, Mapping[int, float]]

    def tuned_in(self, string: int, state: State) -> CellTarget | None:
        """The target that is tuned in a state, if there is one: a cell of the state's column.

        >>> from tonegen.drop import NO_DROP
        >>> from tonegen.presets import instrument
        >>> from tonegen.temperament import EQUAL
        >>> e9 = instrument("e9-ten-string")
        >>> copedent(e9, EQUAL, NO_DROP, 440.0).tuned_in(5, e9.state(["A"])).note
        'C#4'
        """
        tuned = (string, state.travels)
        return next((each for each in self.targets if (each.point.string, each.point.travels) == tuned), None)

    @property
    def columns(self) -> tuple[State, ...]:
        """The state of each column of the chart: open, every half-stop and change, every split.

        >>> from tonegen.drop import NO_DROP
        >>> from tonegen.presets import instrument
        >>> from tonegen.temperament import EQUAL
        >>> [each.typed for each in copedent(instrument("e9-ten-string"), EQUAL, NO_DROP, 440.0).columns][:3]
        ['open', 'A', 'B']
        """
        stops = {tuple(each.point.travels.items()) for each in self.targets}
        return tuple(State(dict(stop)) for stop in sorted(stops, key=self._order))

    def strained(self) -> tuple[tuple[CellTarget, float | None], ...]:
        """Of each string that may break, its highest target, with the share of its wire's strength if known.

        Such a target is more than a semitone above the highest note that the chart gives the string at
        A4 = 440 Hz, or takes the wire too near its least strength.
        """
        found = []
        for string in self.instrument.strings:
            targets = [target for target in self.targets if target.point.string == string.number]
            highest = max(targets, key=lambda target: target.hz)
            share = string.wire.fraction_of_strength(highest.hz) if string.wire else None
            too_high = highest.hz > float(hz_from_key(highest.key + 1))
            if too_high or (share is not None and share > HIGHEST_SAFE_FRACTION_OF_STRENGTH):
                found.append((highest, share))
        return tuple(found)

    def _order(self, stop: tuple[tuple[str, float], ...]) -> tuple[int, list[tuple[int, float]]]:
        names = [change.name for change in self.instrument.changes]
        return len(stop), [(names.index(name), travel) for name, travel in stop]


def copedent(instrument: Instrument, temperament: Temperament, drop: Drop, reference_hz: float) -> Copedent:
    """The chart of an instrument in a temperament. Raises BadValue for another instrument's temperament.

    >>> from tonegen.presets import drop, instrument
    >>> from tonegen.temperament import EQUAL
    >>> chart = copedent(instrument("e9-ten-string"), EQUAL, drop("demo-stiff-cabinet"), 440.0)
    >>> round(chart.targets[0].hz, 2), dict(chart.drop_cents["C"])
    (369.99, {3: -0.3, 8: -0.8})
    """
    targets = []
    for point in instrument.tuning_points():
        key = instrument.key(point)
        offset = temperament.offset_cents(instrument, point)
        hz = float(hz_from_key(key, offset, reference_hz))
        targets.append(
            CellTarget(point, instrument.note(point), key, offset, hz, is_asked(temperament, point))
        )
    sagging = {
        change.name: {
            string.number: cents
            for string in instrument.strings
            if (cents := drop.since_tuned(instrument, string.number, instrument.state([change.name])))
        }
        for change in instrument.changes
    }
    return Copedent(instrument, reference_hz, tuple(targets), sagging)
