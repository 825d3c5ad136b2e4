"""The rig of a setup: instrument, temperament, drop and timbre, loaded and fitted, and the tones that sound.

Where a part of it cannot be had, the error says so (`rig_of`), or another stands in (`rig_for`).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final, Protocol, TypeVar

from tonegen import presets
from tonegen.drop import NO_DROP, Drop
from tonegen.errors import BadValue, TonegenError
from tonegen.frozen import Frozen
from tonegen.instrument import Grip, Instrument, State, TuningPoint
from tonegen.pitch import REFERENCE_HZ, WrittenPitch, checked_reference_hz, parse_pitch
from tonegen.setup.setting import Hands, Setup
from tonegen.sounding import Sounding, SoundingTone, tone_as_written, tones_of_grip
from tonegen.synthesis.timbre import PURE, Timbre
from tonegen.temperament import (
    EQUAL,
    OwnTemperament,
    PitchClassTemperament,
    Temperament,
    fitted,
    on_root,
    string_cents,
)

PLAINEST: Final = Setup(instrument="e9-ten-string")
Made = TypeVar("Made")


@dataclass(frozen=True, slots=True)
class Moved(Frozen):
    """A temperament with some tuning points moved by hand."""

    base: Temperament
    offsets_cents: Mapping[TuningPoint, float]

    @property
    def name(self) -> str:
        """That of the temperament below."""
        return self.base.name

    def offset_of_key(self, key: int) -> float:
        """As the temperament below has it."""
        return self.base.offset_of_key(key)

    def offset_cents(self, instrument: Instrument, point: TuningPoint) -> float:
        """The offset that the player gave the point, else that of the temperament."""
        if point in self.offsets_cents:
            return self.offsets_cents[point]
        return self.base.offset_cents(instrument, point)


@dataclass(frozen=True, slots=True)
class Bare:
    """What is set where there is no instrument: a temperament at a reference pitch, heard in a timbre."""

    targets: Temperament = EQUAL
    timbre: Timbre = PURE
    reference_hz: float = REFERENCE_HZ

    @property
    def temperament(self) -> Temperament:
        """The targets: there is nothing that could be moved."""
        return self.targets


@dataclass(frozen=True, slots=True, eq=False)
class Rig(Frozen):
    """Everything of a setup that sound and picture are made from.

    targets : the temperament with nothing moved; temperament : the same with what was `moved` by hand
    """

    instrument: Instrument
    targets: Temperament = EQUAL
    drop: Drop = NO_DROP
    timbre: Timbre = PURE
    reference_hz: float = REFERENCE_HZ
    against: WrittenPitch | None = None
    moved: Mapping[TuningPoint, float] = field(default_factory=dict)
    temperament: Temperament = field(init=False)

    def __post_init__(self) -> None:
        """Move what was moved."""
        object.__setattr__(self, "temperament", _with_moved(self.targets, self.moved))
        Frozen.__post_init__(self)

    def state(self, travels: Mapping[str, float]) -> State:
        """The state of these travels; changes that this instrument does not have are left out."""
        known = {change.name for change in self.instrument.changes}
        return self.instrument.state({name: way for name, way in travels.items() if name in known})

    def every_string(self, hands: Hands) -> tuple[SoundingTone, ...]:
        """Each string as it sounds in this state under the bar, whether it is in the grip or not."""
        numbers = tuple(string.number for string in self.instrument.strings)
        return self.tones_of(Grip("all", numbers), hands)

    def sounding(self, hands: Hands, grip: Grip | None = None) -> Sounding:
        """The strings of the grip, or of another, as they sound, and the note that they are heard against."""
        if grip is None:
            grip = self.instrument.grip_of(hands.strings, self.state(hands.travels))
        tones = self.tones_of(grip, hands)
        if self.against is not None and tones:
            tones = (tone_as_written(self.against, self.reference_hz, self.timbre), *tones)
        return Sounding(self.reference_hz, tones)

    def point(self, string: int, hands: Hands) -> TuningPoint:
        """The tuning point that a string stands on. Raises BadValue when there is no such string."""
        return self.instrument.point(string, self.state(hands.travels))

    def cents_moved_per_cent(self, string: int, hands: Hands) -> float:
        """How far the string moves when its tuning point moves by a cent: 1 at a stop, less on the way."""
        state, point = self.state(hands.travels), self.point(string, hands)
        higher = Moved(self.temperament, {point: self.temperament.offset_cents(self.instrument, point) + 1.0})
        above = string_cents(self.instrument, higher, string, state)
        return above - string_cents(self.instrument, self.temperament, string, state)

    def tones_of(self, grip: Grip, hands: Hands) -> tuple[SoundingTone, ...]:
        """The strings of any grip as they sound with these changes engaged, under the bar."""
        return tones_of_grip(
            self.instrument, grip, self.state(hands.travels), hands.fret, self.temperament,
            self.drop, self.reference_hz, self.timbre,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class RigFault:
    """A part of a setup that cannot be had: what was asked of which part, why not, and what stands in."""

    part: str
    asked: tuple[object, ...]
    error: TonegenError
    instead: str

    @property
    def words(self) -> str:
        """In a line for the player."""
        return f"{self.error}; {self.instead}"


class Shelf(Protocol):
    """Where presets are taken from."""

    def take(self, kind: str, name: str) -> Any:
        """A preset. Raises BadPreset."""

    def last_good(self, kind: str, name: str) -> tuple[Any, str] | None:
        """What a preset was when it was last read well, and where that is from; None when it never was."""

    def shipped(self, kind: str, name: str) -> Any:
        """A preset as it came with the program."""


class Files:
    """Presets by name or file, as the command line has them, each read once; none stands in for another."""

    def __init__(self) -> None:
        """Nothing is read yet."""
        self._read: dict[tuple[str, str], Any] = {}

    def take(self, kind: str, name: str) -> Any:
        """A preset. Raises BadPreset."""
        if (kind, name) not in self._read:
            self._read[kind, name] = presets.load(kind, name)
        return self._read[kind, name]

    @staticmethod
    def last_good(kind: str, name: str) -> None:
        """Nothing: what cannot be read is an error."""

    shipped = take


def rig_of(setup: Setup, shelf: Shelf) -> Rig:
    """The rig of a setup, whole. Raises BadPreset or BadValue when a part cannot be had, or does not fit."""
    rig, faults = rig_for(setup, shelf)
    if faults:
        raise faults[0].error
    return rig


def bare_of(setup: Setup) -> Bare:
    """The temperament of a setup without an instrument; a name or a file. Raises as `rig_of` does."""
    return Bare(
        on_root(presets.temperament(setup.temperament), setup.root),
        presets.timbre(setup.timbre),
        checked_reference_hz(setup.reference_hz),
    )


def rig_for(setup: Setup, shelf: Shelf) -> tuple[Rig, tuple[RigFault, ...]]:
    """The rig of a setup, whatever became of its presets.

    What cannot be read is what it was when it was last read well; what never was, or does not fit, is the
    plainest of its kind. A root is passed over by a temperament that takes none.
    """
    faults: list[RigFault] = []

    def had(part: str, make: Callable[[], Made], instead: Made, words: str) -> Made:
        try:
            return make()
        except TonegenError as error:
            faults.append(RigFault(part, asked_of_part(setup, part), error, words))
            return instead

    def preset(kind: str, name: str, plainest: Callable[[], Any], words: str) -> Any:
        try:
            return shelf.take(kind, name)
        except TonegenError as error:
            good = shelf.last_good(kind, name)
            value, instead = (good[0], f"it was read {good[1]}") if good else (plainest(), words)
            faults.append(RigFault(kind[:-1], asked_of_part(setup, kind[:-1]), error, instead))
            return value

    instrument: Instrument = preset(
        "instruments", setup.instrument,
        lambda: replace(shelf.shipped("instruments", PLAINEST.instrument), name=setup.instrument),
        f"{PLAINEST.instrument} is used instead, as it came with the program",
    )  # fmt: skip
    targets: Temperament = preset(
        "temperaments", setup.temperament, lambda: EQUAL, "equal temperament is used instead"
    )
    if isinstance(targets, PitchClassTemperament):
        targets = on_root(targets, setup.root, instrument.root)

    asked, plain = targets, fitted(EQUAL, instrument)
    targets = had(
        "temperament", lambda: fitted(asked, instrument), plain, "equal temperament is used instead"
    )
    sag: Drop = NO_DROP
    if setup.drop != NO_DROP.name:
        sag = preset("drops", setup.drop, lambda: NO_DROP, "no drop is used")
    timbre: Timbre = preset(
        "timbres", setup.timbre, lambda: shelf.shipped("timbres", PLAINEST.timbre),
        f"{PLAINEST.timbre} is used instead, as it came with the program",
    )  # fmt: skip
    rig = Rig(
        instrument,
        targets,
        had("drop", lambda: _fitting_drop(sag, instrument), NO_DROP, "no drop is used"),
        timbre,
        had(
            "reference pitch", lambda: checked_reference_hz(setup.reference_hz), REFERENCE_HZ,
            f"A4 is {REFERENCE_HZ:g} Hz",
        ),
        had("against", lambda: _written(setup.against), None, "there is no bass to hear it against"),
        {moved.point: moved.offset_cents for moved in setup.moved},
    )  # fmt: skip
    return rig, tuple(faults)


def asked_of_part(setup: Setup, part: str) -> tuple[object, ...]:
    """What a setup asks of a part of the rig; a change of anything else cannot have spoilt that part."""
    match part:
        case "instrument":
            return (setup.instrument,)
        case "temperament":
            return setup.instrument, setup.temperament
        case "drop":
            return setup.instrument, setup.drop
        case "timbre":
            return (setup.timbre,)
        case "reference pitch":
            return (setup.reference_hz,)
    return (setup.against,)


def _with_moved(targets: Temperament, points: Mapping[TuningPoint, float]) -> Temperament:
    if isinstance(targets, OwnTemperament):
        merged, left = {**targets.offsets_cents, **points}, targets.not_asked - points.keys()
        return replace(targets, offsets_cents=merged, not_asked=left)
    return Moved(targets, points) if points else targets


def _fitting_drop(drop: Drop, instrument: Instrument) -> Drop:
    try:
        return drop.checked_on(instrument)
    except BadValue as error:
        raise BadValue(f"drop {drop.name} does not fit: {error}") from None


def _written(text: str) -> WrittenPitch | None:
    """What a grip is heard against."""
    if not text:
        return None
    written = parse_pitch(text)
    written.hz_at(REFERENCE_HZ)  # says so where it is cents above another tone
    return written
