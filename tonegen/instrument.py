"""An instrument: strings, changes, tuning points and grips.

Conventions: strings count from 1, the highest course, as players do. A *change* is a pedal or a knee lever,
engaged by a *travel* from 0 (at rest) to 1 (at its stop); a *state* says which are engaged and how far.
A *tuning point* is one thing that the player tunes by itself: a string's open pitch, its stop for the changes
that move it, or a half-stop on the way there that stands for a note. How far the cabinet drops is in `drop`.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Final

import numpy as np

from tonegen.body import HOLDS_ANYTHING, Body
from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.interval import Ratio
from tonegen.pitch import note_name, pitch_class_name
from tonegen.wire import Wire, stiffness_elsewhere

# What a degree of a chord stands for when nobody says otherwise (five-limit; common practice, no source).
DEGREES: Final[Mapping[str, Ratio]] = {
    degree: Ratio.parse(ratio)
    for degree, ratio in {
        "1": "1:1", "b2": "16:15", "2": "9:8", "b3": "6:5", "3": "5:4", "4": "4:3", "#4": "45:32",
        "b5": "36:25", "5": "3:2", "#5": "25:16", "b6": "8:5", "6": "5:3", "bb7": "216:125", "b7": "9:5",
        "7": "15:8", "b9": "32:15", "9": "9:4", "#9": "12:5", "11": "8:3", "#11": "45:16", "13": "10:3",
    }.items()
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class String:
    """One string.

    stiffness : B of the open string, None when unknown.
    begins_at_fret : where its own nut is, as that of a banjo's short string; a bar below it leaves it open.
    """

    number: int
    open_key: int
    stiffness: float | None = None
    wire: Wire | None = None
    begins_at_fret: int = 0

    def bar_semitones(self, fret: float) -> float:
        """How far a bar at a fret raises this string.

        >>> String(5, 67, begins_at_fret=5).bar_semitones(7.0), String(4, 50).bar_semitones(7.0)
        (2.0, 7.0)
        """
        return max(0.0, fret - self.begins_at_fret)


@dataclass(frozen=True, slots=True)
class HalfStop:
    """Where a string was measured with a change between rest and stop, in cents above the open string.

    semitones : above the open string, of the note that it stands for; None where it is only measured.
    """

    travel: float
    cents: float
    semitones: int | None = None


@dataclass(frozen=True, slots=True)
class Change(Frozen):
    """A pedal or a knee lever.

    semitones : by string, how far it raises (positive) or lowers.
    half_stops : by string, from rest to stop; a string without them moves in a straight line.
    """

    name: str
    semitones: Mapping[int, int]
    place: str = ""
    half_stops: Mapping[int, tuple[HalfStop, ...]] = field(default_factory=dict)

    def tuned_half_stops(self, string: int) -> tuple[HalfStop, ...]:
        """The half-stops of a string that stand for a note."""
        return tuple(half for half in self.half_stops.get(string, ()) if half.semitones is not None)

    def half_stop_semitones(self, string: int, travel: float) -> int | None:
        """How far a string is raised at a half-stop that stands for a note; None at any other travel.

        >>> lever = Change("D", {2: -2}, half_stops={2: (HalfStop(0.5, -98.0, -1),)})
        >>> [lever.half_stop_semitones(2, travel) for travel in (0.5, 0.7)]
        [-1, None]
        """
        at = (half.semitones for half in self.half_stops.get(string, ()) if half.travel == travel)
        return next(at, None)

    def felt(self, travel: float, within: float) -> float:
        """Where a travel is that was measured by steps: at a half-stop that is a note, if that is so near.

        >>> lever = Change("D", {2: -2}, half_stops={2: (HalfStop(0.5, -98.0, -1),)})
        >>> [lever.felt(travel, within=0.01) for travel in (0.495, 0.52)]
        [0.5, 0.52]
        """
        halves = (half.travel for string in self.half_stops for half in self.tuned_half_stops(string))
        return next((half for half in halves if abs(half - travel) <= within), travel)


@dataclass(frozen=True, slots=True)
class Split(Frozen):
    """Changes that together take a string to a note of its own."""

    changes: frozenset[str]
    semitones: Mapping[int, int]


@dataclass(frozen=True, slots=True, order=True)
class TuningPoint:
    """A string, and the changes that select this stop of it; none for the open string.

    travel : less than 1 for the half-stop of a change, which is then the only one.
    """

    string: int
    changes: tuple[str, ...] = ()
    travel: float = 1.0

    @property
    def travels(self) -> dict[str, float]:
        """The state in which it is tuned: its own changes, and how far each is engaged."""
        return dict.fromkeys(self.changes, self.travel)

    @property
    def stop(self) -> str:
        """Its own changes as they are typed, open where there are none.

        >>> TuningPoint(5, ("A", "V")).stop, TuningPoint(2, ("DD",), 0.5).stop, TuningPoint(5).stop
        ('A+V', 'DD:0.5', 'open')
        """
        return State(self.travels).typed

    def __str__(self) -> str:
        """String 5 open, string 5 with A, string 2 with DD at 0.5."""
        return f"string {self.string} {f'with {State(self.travels)}' if self.changes else 'open'}"

    def is_same_stop(self, other: "TuningPoint") -> bool:
        """Whether the two are one, in whatever order their changes were written.

        >>> TuningPoint(5, ("C", "A")).is_same_stop(TuningPoint(5, ("A", "C")))
        True
        """
        return (self.string, sorted(self.changes), self.travel) == (
            other.string,
            sorted(other.changes),
            other.travel,
        )


@dataclass(frozen=True, slots=True)
class Grip:
    """Strings picked together in a state.

    roles : the degree of each string in the chord ("1", "b3", "5"), in the order of `strings`.
    ratios : what each string's degree stands for, above the root, in the same order.
    """

    name: str
    strings: tuple[int, ...]
    changes: tuple[str, ...] = ()
    root: str = ""
    roles: tuple[str, ...] = ()
    ratios: tuple[Ratio, ...] = ()


@dataclass(frozen=True, slots=True)
class State(Frozen):
    """The changes that are engaged, in the instrument's order, and how far each is."""

    travels: Mapping[str, float]

    @property
    def changes(self) -> tuple[str, ...]:
        """The names of the engaged changes.

        >>> State({"A": 1.0, "B": 0.5}).changes
        ('A', 'B')
        """
        return tuple(self.travels)

    @property
    def typed(self) -> str:
        """As it is typed: A+B, DD:0.5, or open.

        >>> State({"A": 1.0, "DD": 0.5}).typed
        'A+DD:0.5'
        """
        parts = (name if travel == 1 else f"{name}:{travel:g}" for name, travel in self.travels.items())
        return "+".join(parts) or "open"

    def __str__(self) -> str:
        """A+B, D at 0.5, or open."""
        parts = (name if travel == 1 else f"{name} at {travel:g}" for name, travel in self.travels.items())
        return "+".join(parts) or "open"


def parse_travel(text: str) -> tuple[str, float]:
    """A change and how far it is engaged, as they are typed: "A", or "A:0.5" for half. Raises BadValue.

    >>> parse_travel("A"), parse_travel("DD:0.5")
    (('A', 1.0), ('DD', 0.5))
    """
    name, separator, travel = text.strip().partition(":")
    try:
        return name, float(travel) if separator else 1.0
    except ValueError:
        raise BadValue(f'"{text.strip()}" is not a change with a travel; write one such as A:0.5') from None


@dataclass(frozen=True, slots=True)
class Instrument:
    """Strings by changes: what the player draws as his copedent.

    exclusive : changes that the instrument cannot engage together; body : what foot and knees hold.
    """

    name: str
    title: str
    strings: tuple[String, ...]
    changes: tuple[Change, ...] = ()
    splits: tuple[Split, ...] = ()
    exclusive: tuple[frozenset[str], ...] = ()
    body: Body = HOLDS_ANYTHING
    grips: tuple[Grip, ...] = ()
    root: int = 0  # pitch class that a temperament is built on unless the player says another
    frets: int = 24
    flats: bool = False
    source: str = ""

    def string(self, number: int) -> String:
        """The string of that number. Raises BadValue when there is none.

        >>> from tonegen.presets import instrument
        >>> instrument("e9-ten-string").string(4).open_key
        64
        """
        if not 1 <= number <= len(self.strings):
            raise BadValue(f"{self.name} has no string {number}; it has strings 1 to {len(self.strings)}")
        return self.strings[number - 1]

    def change(self, name: str) -> Change:
        """The change of that name. Raises BadValue naming those that exist.

        >>> from tonegen.presets import instrument
        >>> dict(instrument("e9-ten-string").change("A").semitones)
        {5: 2, 10: 2}
        """
        for change in self.changes:
            if change.name == name:
                return change
        names = [change.name for change in self.changes]
        if not names:
            raise BadValue(f'{self.name} has no change "{name}"; it has no pedals or levers')
        near = get_close_matches(name.upper(), names, n=1)
        hint = f'; did you mean "{near[0]}"?' if near else f"; it has {', '.join(names)}"
        raise BadValue(f'{self.name} has no change "{name}"{hint}')

    def state(self, travels: Mapping[str, float] | Iterable[str] = ()) -> State:
        """A state from the names of changes, or from names with travels.

        Raises BadValue for an unknown change, a travel outside 0 to 1, or changes that exclude each other.

        >>> from tonegen.presets import instrument
        >>> e9 = instrument("e9-ten-string")
        >>> str(e9.state(["B", "A"])), str(e9.state({"A": 0.5})), str(e9.state())
        ('A+B', 'A at 0.5', 'open')
        """
        wanted = dict(travels) if isinstance(travels, Mapping) else dict.fromkeys(travels, 1.0)
        for name, travel in wanted.items():
            self.change(name)
            if not 0 <= travel <= 1:
                raise BadValue(f"change {name} cannot travel {travel:g}; give 0 (at rest) to 1 (at its stop)")
        engaged = {change.name: wanted[change.name] for change in self.changes if wanted.get(change.name)}
        for group in self.exclusive:
            clash = [name for name in engaged if name in group]
            if len(clash) > 1:
                raise BadValue(f"changes {' and '.join(clash)} exclude each other; engage one of them")
        return State(engaged)

    def grip(self, name: str) -> Grip:
        """The saved grip of that name. Raises BadValue with the nearest that exist.

        >>> from tonegen.presets import instrument
        >>> instrument("c6-ten-string").grip("C major 7-6-5").strings
        (7, 6, 5)
        """
        for grip in self.grips:
            if grip.name == name:
                return grip
        near = get_close_matches(name, [grip.name for grip in self.grips], n=3)
        hint = f"; near it: {', '.join(near)}" if near else ""
        raise BadValue(f'{self.name} has no grip "{name}"; give strings such as 3,4,5 or a saved name{hint}')

    def checked_fret(self, fret: float) -> float:
        """A bar position. Raises BadValue when it is off the neck.

        >>> from tonegen.presets import instrument
        >>> instrument("e9-ten-string").checked_fret(3)
        3.0
        """
        if not 0 <= fret <= self.frets:
            raise BadValue(f"fret {fret:g} is off the neck of {self.name}; it has frets 0 to {self.frets}")
        return float(fret)

    def own_changes(self, string: int, state: State) -> dict[str, float]:
        """The engaged changes that move this string, with their travels.

        >>> from tonegen.presets import instrument
        >>> e9 = instrument("e9-ten-string")
        >>> e9.own_changes(5, e9.state({"A": 0.5, "B": 1.0}))
        {'A': 0.5}
        """
        return {
            name: travel for name, travel in state.travels.items() if string in self.change(name).semitones
        }

    def stands_at_a_stop(self, string: int, state: State) -> bool:
        """Whether the string plays a tuning point, rather than being on its way between two.

        Each change that moves it is at its stop, or at a half-stop that stands for a note.

        >>> from tonegen.presets import instrument
        >>> e9 = instrument("e9-ten-string")
        >>> half = e9.state({"A": 0.5, "B": 1.0})
        >>> e9.stands_at_a_stop(5, half), e9.stands_at_a_stop(6, half)
        (False, True)
        """
        return self.stands_on(string, state) is not None

    def stands_on(self, string: int, state: State) -> TuningPoint | None:
        """The tuning point that a string plays in a state; None while it is on its way.

        >>> from tonegen.presets import instrument
        >>> e9 = instrument("e9-ten-string")
        >>> [str(e9.stands_on(2, e9.state({"DD": travel}))) for travel in (0.4, 0.5, 1.0)]
        ['None', 'string 2 with DD at 0.5', 'string 2 with DD']
        """
        moves: dict[str, int] = {}
        for name, travel in (own := self.own_changes(string, state)).items():
            change = self.change(name)
            semitones = (
                change.semitones[string] if travel == 1 else change.half_stop_semitones(string, travel)
            )
            if semitones is None:
                return None
            moves[name] = semitones
        furthest = _furthest(moves)
        if all(own[name] == 1 for name in furthest):
            return TuningPoint(string, furthest)
        return TuningPoint(string, furthest, own[furthest[0]]) if len(furthest) == 1 else None

    def point(self, string: int, state: State) -> TuningPoint:
        """The tuning point that a state selects on a string; on its way, that of its changes at their stops.

        Of changes that raise a string to different notes the highest wins, of those that lower it the lowest;
        those that reach the same note, and a raise with a lower, are a point of their own. A half-stop wins
        likewise, but has no point together with another change.

        >>> from tonegen.presets import instrument
        >>> e9 = instrument("e9-ten-string")
        >>> str(e9.point(5, e9.state(["A", "B"]))), str(e9.point(4, e9.state(["A", "B"])))
        ('string 5 with A', 'string 4 open')
        """
        self.string(string)
        if stands_on := self.stands_on(string, state):
            return stands_on
        moves = {name: self.change(name).semitones[string] for name in self.own_changes(string, state)}
        return TuningPoint(string, _furthest(moves))

    def key(self, point: TuningPoint) -> int:
        """The key that a tuning point stands for, before any offset. Raises BadValue for a foreign point.

        >>> from tonegen.presets import instrument
        >>> instrument("e9-ten-string").key(TuningPoint(5, ("A",)))
        61
        """
        return self.string(point.string).open_key + self.raised_semitones(point)

    def raised_semitones(self, point: TuningPoint) -> int:
        """How far a tuning point lies above its open string; negative below. Raises BadValue as `key` does.

        >>> from tonegen.presets import instrument
        >>> instrument("e9-ten-string").raised_semitones(TuningPoint(4, ("E",)))
        -1
        """
        if point.travel != 1:
            return self.half_stop(point).semitones or 0
        for split in self.splits:
            if split.changes == frozenset(point.changes) and point.string in split.semitones:
                return split.semitones[point.string]
        moves = []
        for name in point.changes:
            semitones = self.change(name).semitones
            if point.string not in semitones:
                raise BadValue(f"change {name} does not move string {point.string} of {self.name}")
            moves.append(semitones[point.string])
        return max((move for move in moves if move > 0), default=0) + min(
            (move for move in moves if move < 0), default=0
        )

    def half_stop(self, point: TuningPoint) -> HalfStop:
        """The half-stop that a tuning point is. Raises BadValue where there is none that is a note."""
        (name,) = point.changes
        halves = self.change(name).tuned_half_stops(point.string)
        for half in halves:
            if half.travel == point.travel:
                return half
        there = f"; there is one at {', '.join(f'{half.travel:g}' for half in halves)}" if halves else ""
        raise BadValue(f"{name} has no half-stop that is a note there{there}")

    def tuning_points(self) -> tuple[TuningPoint, ...]:
        """Everything that is tuned by itself: open strings, stops of each change, half-stops, named splits.

        >>> from tonegen.presets import instrument
        >>> [str(point) for point in instrument("e9-ten-string").tuning_points()][:3]
        ['string 1 open', 'string 1 with G', 'string 2 open']
        """
        return tuple(self._tuning_points())

    def _tuning_points(self) -> Iterator[TuningPoint]:
        for string in self.strings:
            yield TuningPoint(string.number)
            for change in self.changes:
                if string.number in change.semitones:
                    for half in change.tuned_half_stops(string.number):
                        yield TuningPoint(string.number, (change.name,), half.travel)
                    yield TuningPoint(string.number, (change.name,))
            for split in self.splits:
                if string.number in split.semitones:
                    in_order = tuple(change.name for change in self.changes if change.name in split.changes)
                    yield TuningPoint(string.number, in_order)

    def cents_above_open(
        self, string: int, state: State, offset_cents: Callable[[TuningPoint], float]
    ) -> float:
        """Pitch of a string in a state, in cents above its open key, the open string's offset included.

        offset_cents : gives the offset of each tuning point from equal temperament.
        Between rest and stop a string moves in a straight line from half-stop to half-stop, each where it is
        tuned, or where it was measured if it stands for no note; a raise and a lower add; a point of several
        changes is reached as the last of them comes to its stop.

        >>> from tonegen.presets import instrument
        >>> e9 = instrument("e9-ten-string")
        >>> e9.cents_above_open(5, e9.state({"A": 0.5}), lambda point: -14.0 if point.changes else 2.0)
        94.0
        """
        open_offset = offset_cents(TuningPoint(string))

        def at_stop(point: TuningPoint) -> float:
            return 100 * self.raised_semitones(point) + offset_cents(point) - open_offset

        own = self.own_changes(string, state)
        moved = {
            name: _moved_cents(self.change(name), string, travel, at_stop) for name, travel in own.items()
        }
        total = _raise_and_lower(moved.values())
        point = self.point(string, state)
        if len(point.changes) > 1:
            parts = [at_stop(TuningPoint(string, (name,))) for name in point.changes]
            together = min(own[name] for name in point.changes)
            total += together * (at_stop(point) - _raise_and_lower(parts))
        return open_offset + total

    def points_between(self, string: int, state: State) -> tuple[TuningPoint, ...]:
        """All that the pitch of a string on its way can hang on: open, its stops and half-stops."""
        found = [TuningPoint(string)]
        for name in self.own_changes(string, state):
            halves = self.change(name).tuned_half_stops(string)
            found += [TuningPoint(string, (name,), half.travel) for half in halves]
            found.append(TuningPoint(string, (name,)))
        return tuple(dict.fromkeys([*found, self.point(string, state)]))

    def stiffness(self, string: int, state: State, fret: float) -> float | None:
        """B of a string in a state under the bar; None when the string's own is unknown."""
        open_stiffness = self.string(string).stiffness
        if open_stiffness is None:
            return None
        raised = self.raised_semitones(self.point(string, state))
        return float(stiffness_elsewhere(open_stiffness, raised, self.string(string).bar_semitones(fret)))

    def of_unknown_wire(self, strings: Iterable[int]) -> tuple[int, ...]:
        """Which of these strings have a stiffness that nobody told, in order.

        >>> from tonegen.presets import instrument
        >>> instrument("e9-ten-string").of_unknown_wire([3, 4])
        ()
        """
        return tuple(sorted({number for number in strings if self.string(number).stiffness is None}))

    def note(self, point: TuningPoint) -> str:
        """Name of the note that a tuning point stands for.

        >>> from tonegen.presets import instrument
        >>> instrument("e9-ten-string").note(TuningPoint(5, ("A",)))
        'C#4'
        """
        return note_name(self.key(point), self.flats)

    @property
    def root_name(self) -> str:
        """Name of the pitch class that temperaments are built on.

        >>> from tonegen.presets import instrument
        >>> instrument("e9-ten-string").root_name, instrument("c6-ten-string").root_name
        ('E', 'C')
        """
        return pitch_class_name(self.root, self.flats)

    def fret_of_key(self, pitch_class: int) -> int:
        """The lowest bar position at which the instrument's own key becomes that one, such as a song's.

        >>> from tonegen.presets import instrument
        >>> instrument("e9-ten-string").fret_of_key(7)  # G
        3
        """
        return (pitch_class - self.root) % 12

    def grip_of(self, strings: tuple[int, ...], state: State) -> Grip:
        """A grip from string numbers: the saved one with the same strings and changes, or one without roles.

        Raises BadValue for an unknown or a double string.

        >>> from tonegen.presets import instrument
        >>> e9 = instrument("e9-ten-string")
        >>> e9.grip_of((4, 5, 6), e9.state()).roles
        ('1', '5', '3')
        """
        for number in strings:
            self.string(number)
        if len(set(strings)) != len(strings):
            raise BadValue(f"grip {','.join(map(str, strings))} names a string twice")
        for grip in self.grips:
            if set(grip.strings) == set(strings) and set(grip.changes) == set(state.travels):
                return grip
        return Grip("-".join(map(str, strings)), strings, state.changes)


def _raise_and_lower(moved_cents: Iterable[float]) -> float:
    """Where a string stands that several changes pull at: the furthest raise plus the furthest lower."""
    cents = list(moved_cents)
    return max((c for c in cents if c > 0), default=0.0) + min((c for c in cents if c < 0), default=0.0)


def _furthest(moves: Mapping[str, int]) -> tuple[str, ...]:
    """The changes that decide where a string stands: those that raise it most or lower it most."""
    highest = max((move for move in moves.values() if move > 0), default=0)
    lowest = min((move for move in moves.values() if move < 0), default=0)
    return tuple(name for name, move in moves.items() if move in (highest, lowest))


def _moved_cents(
    change: Change, string: int, travel: float, at_stop: Callable[[TuningPoint], float]
) -> float:
    """How far a change alone moves a string: in straight lines from rest over its half-stops to its stop."""
    halves = change.half_stops.get(string, ())
    travels = [0.0, *(half.travel for half in halves), 1.0]
    at_halves = (
        half.cents if half.semitones is None else at_stop(TuningPoint(string, (change.name,), half.travel))
        for half in halves
    )
    full_cents = at_stop(TuningPoint(string, (change.name,)))
    return float(np.interp(travel, travels, [0.0, *at_halves, full_cents]))
