"""A scene: the grips that a player plays, what must not move, and the band around it.

Conventions: a *weight* counts a demand that many times in least squares, and multiplies its error where the
worst is to be least. *Bar positions that matter* are frets; beats grow with them. Nothing here is solved.
"""

from collections import Counter
from dataclasses import dataclass
from typing import Final

from tonegen.drop import NO_DROP, Drop
from tonegen.errors import BadValue
from tonegen.instrument import Grip, Instrument, State, TuningPoint
from tonegen.interval import Ratio
from tonegen.pitch import REFERENCE_HZ
from tonegen.reads import parse_place, place_in_words
from tonegen.temperament import EQUAL, NO_CONTEXT, Context, OwnTemperament, Temperament
from tonegen.words import signed, typed

ROOT: Final = Ratio(1, 1)
_SAME_CENTS: Final = 1e-9


@dataclass(frozen=True, slots=True)
class WantedGrip:
    """A grip in a state, how much it matters, and at which bar positions.

    within_cents : every interval of it at most this far from just; None leaves it free.
    """

    grip: Grip
    state: State
    weight: float = 1.0
    frets: tuple[float, ...] = (0.0,)
    within_cents: float | None = None


@dataclass(frozen=True, slots=True)
class Pin:
    """This point stands at this offset; `heard` says what that is to read, where it is in another state."""

    point: TuningPoint
    cents: float
    heard: str = ""


@dataclass(frozen=True, slots=True)
class Limit:
    """This point stays between two offsets."""

    point: TuningPoint
    from_cents: float
    to_cents: float


@dataclass(frozen=True, slots=True)
class BandPart:
    """Someone whom the steel must agree with.

    plays_root : he plays the root of each grip, at or above `lowest_key`, as a bass does; otherwise the same
        notes as the strings that are held against him, as a keyboard does.
    strings : which strings are held against him; none means those that play the root.
    grips : by name, where he plays along; none means everywhere.
    """

    name: str
    plays_root: bool
    weight: float = 1.0
    temperament: Temperament = EQUAL
    lowest_key: int = 28  # E1
    strings: tuple[int, ...] = ()
    grips: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Scene:
    """What the optimiser is asked.

    pull : weight of every tuning point of the grips against a keyboard in equal temperament.
    before : the temperament that the result is compared with; points in no grip stay where it has them.
    kept : what the result will be saved over; where it has a point that is in no grip, that stays as it is.
    stiff : whether the strings' own stiffness is reckoned with, where it is known.
    context : what a temperament made for this scene remembers.
    """

    name: str
    instrument: Instrument
    grips: tuple[WantedGrip, ...]
    drop: Drop = NO_DROP
    reference_hz: float = REFERENCE_HZ
    pins: tuple[Pin, ...] = ()
    limits: tuple[Limit, ...] = ()
    band: tuple[BandPart, ...] = ()
    pull: float = 0.0
    before: Temperament = EQUAL
    title: str = ""
    kept: OwnTemperament | None = None
    context: Context = NO_CONTEXT
    stiff: bool = True

    def __post_init__(self) -> None:
        """Refuse what makes no sense. Raises BadValue."""
        if not self.grips:
            raise BadValue(f"scene {self.name} has no grips; name at least one")
        grip_names = [wanted.grip.name for wanted in self.grips]
        _refuse_doubles(grip_names, "grip")
        for point in {pin.point for pin in self.pins}:
            held = sorted((pin for pin in self.pins if pin.point == point), key=lambda pin: pin.cents)
            if held[-1].cents - held[0].cents > _SAME_CENTS:
                one, other = (
                    signed(pin.cents, 2 if pin.heard else None) + f" ({pin.heard})" * bool(pin.heard)
                    for pin in (held[0], held[-1])
                )
                raise BadValue(f"pins contradict: {point} is held at {one} and at {other} cents; keep one")
        for part in self.band:
            for name in part.grips:
                if name not in grip_names:
                    raise BadValue(f'band {part.name}: the scene has no grip "{name}"')

    def limited(self, point: TuningPoint, cents: float) -> float:
        """An offset, brought within the limits of its point.

        >>> from tonegen.presets.scenes import scene
        >>> scene("e9-dance-band").limited(TuningPoint(4), 12.0)
        8.0
        """
        for limit in self.limits:
            if limit.point == point:
                cents = min(max(cents, limit.from_cents), limit.to_cents)
        return cents

    @property
    def states(self) -> tuple[State, ...]:
        """What its grips are played in, one for each.

        >>> from tonegen.presets.scenes import scene
        >>> [str(state) for state in scene("e9-dance-band").states][:3]
        ['open', 'A+B', 'A']
        """
        return tuple(wanted.state for wanted in self.grips)

    @property
    def unknown_wire(self) -> tuple[int, ...]:
        """The strings of the grips whose stiffness would be reckoned with, but is not known.

        >>> from tonegen.presets.scenes import scene
        >>> scene("e9-dance-band").unknown_wire
        ()
        """
        played = (string for wanted in self.grips for string in wanted.grip.strings)
        return self.instrument.of_unknown_wire(played) if self.stiff else ()

    def points(self) -> tuple[TuningPoint, ...]:
        """The unknowns: all tuning points of the instrument, and the joint stops that the grips select.

        >>> from tonegen.presets.scenes import scene
        >>> [str(point) for point in scene("e9-dance-band").points()][:3]
        ['string 1 open', 'string 1 with G', 'string 2 open']
        """
        joint = {
            self.instrument.point(string, wanted.state): None
            for wanted in self.grips
            for string in wanted.grip.strings
        }
        named = {pin.point: None for pin in self.pins} | {limit.point: None for limit in self.limits}
        return tuple(dict.fromkeys([*self.instrument.tuning_points(), *joint, *named]))


def checked_point(instrument: Instrument, string: int, state: State) -> TuningPoint:
    """The tuning point of a string that has a state for its own. Raises BadValue where there is none.

    >>> from tonegen.presets import instrument
    >>> e9 = instrument("e9-ten-string")
    >>> str(checked_point(e9, 5, e9.state(["A"])))
    'string 5 with A'
    """
    point = instrument.point(string, state)
    for change in state.changes:
        if string not in instrument.change(change).semitones:
            raise BadValue(f"change {change} does not move string {string} of {instrument.name}")
    if not instrument.stands_at_a_stop(string, state):
        raise BadValue(_between(instrument, string, state))
    if point.travels != state.travels:
        raise BadValue(f"{state} is not a stop of string {string}; there it is {point}")
    return point


def pin_of_reading(instrument: Instrument, drop: Drop, string: int, state: State, cents: float) -> Pin:
    """The pin by which a string reads so many cents in a state, drop included.

    Raises BadValue where the string is between its stops: there it hangs on more points than one.

    >>> from tonegen.presets import drop, instrument
    >>> e9 = instrument("e9-ten-string")
    >>> pin_of_reading(e9, drop("demo-stiff-cabinet"), 8, e9.state(["A", "B"]), 0.0)
    Pin(point=TuningPoint(string=8, changes=(), travel=1.0), cents=1.5, heard='string 8 with A+B at +0')
    """
    point = instrument.point(string, state)
    if not instrument.stands_at_a_stop(string, state):
        raise BadValue(_between(instrument, string, state))
    if point.travels == state.travels:
        return Pin(point, cents)
    heard = f"{place_in_words(string, state)} at {signed(cents, None)}"
    return Pin(point, cents - drop.since_tuned(instrument, string, state), heard)


def parse_pin(text: str, instrument: Instrument, drop: Drop = NO_DROP) -> Pin:
    """A pin as it is typed: "4=0" holds string 4 open at equal temperament, "4:F=-20" its stop for F,
    and "2:DD:0.5=0" a half-stop.

    In any other state, as "8:A+B=0", it holds what the string reads there, drop included.
    Raises BadValue for anything else.

    >>> from tonegen.presets import instrument
    >>> parse_pin("4:F=-20", instrument("e9-ten-string"))
    Pin(point=TuningPoint(string=4, changes=('F',), travel=1.0), cents=-20.0, heard='')
    """
    point, separator, cents = typed(text).partition("=")
    try:
        value = float(cents)
    except ValueError:
        value = float("nan")
    if not separator or not -1200 <= value <= 1200:
        raise BadValue(f'"{text}" is not a pin; write the point and its cents, such as 4=0 or 4:F=-20')
    return pin_of_reading(instrument, drop, *parse_place(point, instrument), value)


def _between(instrument: Instrument, string: int, state: State) -> str:
    """Why a state selects no tuning point, and which half-stops there are to go to."""
    halves = [
        State({name: half.travel}).typed
        for name in instrument.own_changes(string, state)
        for half in instrument.change(name).tuned_half_stops(string)
    ]
    where = f", or at a half-stop: {', '.join(halves)}" if halves else ""
    return f"string {string} is between its stops in {state}; take it open, or at a stop{where}"


def _refuse_doubles(names: list[str], what: str) -> None:
    for name, count in Counter(names).items():
        if count > 1:
            raise BadValue(f'{what} "{name}" is listed twice; give each its own name, or a weight of 2')
