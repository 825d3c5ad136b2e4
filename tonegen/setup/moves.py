"""Moves of hands, feet and tuning keys: from what is set to what is set next. Pure; refused as a whole.

Hands and setups come back as what they were given as, with whatever else they carry.
"""

from collections.abc import Mapping
from typing import Final, TypeVar

from msgspec.structs import replace

from tonegen.errors import BadValue
from tonegen.instrument import Grip, Instrument, State, TuningPoint
from tonegen.setup.rig import Rig
from tonegen.setup.setting import Hands, MovedPoint, SavedGrip, Setup, Song, song_of
from tonegen.sounding import SoundingInterval
from tonegen.words import signed

LEAST_OFFSET_CENTS: Final = -50.0
MOST_OFFSET_CENTS: Final = 50.0
_HALF_STEP: Final = 0.5 / 127 + 1e-9  # of MIDI's travel; OSC's 32 bits are finer

H = TypeVar("H", bound=Hands)
S = TypeVar("S", bound=Setup)

# ---------------------------------------------------------------------- hands and feet


def engage(instrument: Instrument, hands: H, change: str, travel: float) -> H:
    """Engage a change by a travel; one that cannot be engaged together with it is let go.

    At a half-stop a travel that came by steps, as MIDI and OSC bring it, is taken to be there.
    """
    instrument.state({change: travel})
    if 0 < travel < 1:
        travel = instrument.change(change).felt(travel, _HALF_STEP)
    rivals = {name for group in instrument.exclusive if change in group for name in group} if travel else {}
    kept = {name: way for name, way in hands.travels.items() if name not in rivals and name != change}
    if travel:
        kept[change] = travel
    return replace(hands, travels=kept)


def stand(instrument: Instrument, hands: H, travels: Mapping[str, float]) -> H:
    """Engage these changes and no other, as pedals and levers stand.

    Raises BadValue where they exclude each other: none of them can be let go by a program.
    """
    felt = {name: instrument.change(name).felt(travel, _HALF_STEP) for name, travel in travels.items()}
    return replace(hands, travels=dict(instrument.state(felt).travels))


def strings(instrument: Instrument, hands: H, numbers: tuple[int, ...]) -> H:
    """Pick these strings together."""
    for number in numbers:
        instrument.string(number)
    return replace(hands, strings=tuple(sorted(set(numbers))))


def take_grip(instrument: Instrument, saved: tuple[SavedGrip, ...], hands: H, name: str) -> H:
    """Take a grip by its name, with its changes: one that the player saved, or one of the instrument."""
    own = next((grip for grip in saved if grip.name == name), None)
    if own is not None:
        return replace(hands, strings=tuple(sorted(own.strings)), travels=own.travels)
    shipped = instrument.grip(name)
    travels = dict.fromkeys(shipped.changes, 1.0)
    return replace(hands, strings=tuple(sorted(shipped.strings)), travels=travels)


def bar(instrument: Instrument, hands: H, fret: float) -> H:
    """Put the bar at a fret."""
    return replace(hands, fret=instrument.checked_fret(fret))


def go_to_song(instrument: Instrument, songs: tuple[Song, ...], hands: H, name: str) -> H:
    """Bring the bar to the key of a song of the set list."""
    fret = instrument.fret_of_key(song_of(songs, name).key)
    return replace(hands, fret=instrument.checked_fret(fret), song=name)


def refitted(hands: H, instrument: Instrument) -> H:
    """Hands and feet moved over to another instrument: what it does not have is let go."""
    known = {change.name for change in instrument.changes}
    there = [number for number in hands.strings if number <= len(instrument.strings)]
    return replace(
        hands,
        travels={name: travel for name, travel in hands.travels.items() if name in known},
        strings=tuple(sorted(there or _first_grip(instrument))),
        fret=min(hands.fret, float(instrument.frets)),
    )


def _first_grip(instrument: Instrument) -> tuple[int, ...]:
    """What sounds first: a triad with nothing engaged, else the beginning of the first grip."""
    triads = (grip.strings for grip in instrument.grips if len(grip.strings) == 3 and not grip.changes)
    return next(triads, instrument.grips[0].strings[:3] if instrument.grips else (1,))


def listed_strings(text: str, at_least: int = 2) -> tuple[int, ...]:
    """The strings of "3,4,5" or "3-4-5"; none for any other text. A number alone may be Hz.

    >>> listed_strings("3-4-5"), listed_strings("E major"), listed_strings("5"), listed_strings("5", 1)
    ((3, 4, 5), (), (), (5,))
    """
    numbers = [part.strip() for part in text.replace("-", ",").split(",")]
    listed = all(part.isascii() and part.isdigit() and len(part) < 4 for part in numbers)
    return tuple(map(int, numbers)) if listed and len(numbers) >= at_least else ()


def grip_in_state(
    instrument: Instrument, text: str, travels: Mapping[str, float] | None
) -> tuple[Grip, State]:
    """A grip by string numbers or by its saved name, and the state that it is played in.

    A saved grip brings its own changes unless others are given.

    >>> from tonegen.presets import instrument
    >>> grip, state = grip_in_state(instrument("e9-ten-string"), "A major A+B 3-4-5", None)
    >>> grip.strings, str(state)
    ((3, 4, 5), 'A+B')
    """
    if numbers := listed_strings(text, 1):
        state = instrument.state(travels or {})
        return instrument.grip_of(numbers, state), state
    grip = instrument.grip(text)
    if travels is None:
        return grip, instrument.state(grip.changes)
    state = instrument.state(travels)
    return instrument.grip_of(grip.strings, state), state


# ---------------------------------------------------------------------- offsets by hand


def offset(setup: S, point: TuningPoint, offset_cents: float) -> S:
    """Give a tuning point this offset. Raises BadValue for one out of range."""
    if not LEAST_OFFSET_CENTS <= offset_cents <= MOST_OFFSET_CENTS:  # false for NaN as well
        raise BadValue(
            f"{point} at {signed(offset_cents, 1)} cents is out of range; "
            f"offsets go from {LEAST_OFFSET_CENTS:g} to {MOST_OFFSET_CENTS:g}"
        )
    return replace(setup, moved=(*target(setup, point).moved, MovedPoint.of(point, offset_cents)))


def target(setup: S, point: TuningPoint) -> S:
    """Put a tuning point back to its target, which the temperament gives."""
    others = (moved for moved in setup.moved if moved.point != point)
    return replace(setup, moved=tuple(others))


def pure_offset_cents(rig: Rig, hands: Hands, string: int, interval: SoundingInterval) -> float:
    """The offset at which a string's tuning point makes an interval of it pure, drop and travel considered.

    Raises BadValue where the point hardly moves the string, as its change is hardly engaged.
    """
    point, slope = rig.point(string, hands), rig.cents_moved_per_cent(string, hands)
    if slope < 0.05:
        raise BadValue(f"{point} hardly moves string {string} here; press its pedal or lever further")
    wide = interval.cents_from_meeting if interval.high.string == string else -interval.cents_from_meeting
    return rig.temperament.offset_cents(rig.instrument, point) - wide / slope


def beats_moved(interval: SoundingInterval, string: int, cents: float) -> float:
    """How an interval would beat if one of its strings were so many cents higher; signed, wide positive.

    >>> from tonegen.presets import instrument
    >>> rig = Rig(instrument("e9-ten-string"))
    >>> third = rig.sounding(Hands(strings=(5, 6))).intervals[0]  # a minor third, narrow
    >>> [round(beats_moved(third, 6, cents), 2) for cents in (0.0, -15.0)]
    [-11.21, -0.46]
    """
    factor = 2 ** (cents / 1200)
    low = interval.coincident_hz - interval.beats_per_second / 2
    high = interval.coincident_hz + interval.beats_per_second / 2
    return high * factor - low if interval.high.string == string else high - low * factor


# ---------------------------------------------------------------------- what is saved and chosen


def save_grip(setup: S, hands: Hands, name: str) -> S:
    """Save the strings and changes of this moment under a name. Raises BadValue without either."""
    if not name:
        raise BadValue("a grip needs a name")
    if not hands.strings:
        raise BadValue("tap the strings of the grip first")
    saved = SavedGrip(name, hands.strings, hands.travels)
    return replace(setup, grips=(*forget_grip(setup, name).grips, saved))


def forget_grip(setup: S, name: str) -> S:
    """Forget a grip that the player saved."""
    return replace(setup, grips=tuple(grip for grip in setup.grips if grip.name != name))


def save_song(setup: S, name: str, key: int, minor: bool = False) -> S:
    """Put a song on the set list: in its place when it is there, else last. Raises BadValue for no name."""
    if not name:
        raise BadValue("a song needs a name")
    songs = {song.name: song for song in setup.songs} | {name: Song(name, key, minor)}
    return replace(setup, songs=tuple(songs.values()))


def forget_song(setup: S, name: str) -> S:
    """Take a song off the set list."""
    return replace(setup, songs=tuple(song for song in setup.songs if song.name != name))
