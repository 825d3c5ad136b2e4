"""The rig that a setting describes: instrument, temperament, drop and timbre, read and made ready."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final, TypeVar

from tonegen.drop import NO_DROP, Drop
from tonegen.errors import BadValue, TonegenError
from tonegen.frozen import Frozen
from tonegen.instrument import Grip, Instrument, State, TuningPoint
from tonegen.page import shelf
from tonegen.page.setting import MovedPoint, Playing, Setting
from tonegen.pitch import REFERENCE_HZ, WrittenPitch, checked_reference_hz, parse_pitch
from tonegen.sounding import Sounding, SoundingTone, sound, tone_of_hz, tone_of_key, tones_of_grip
from tonegen.synthesis.timbre import Timbre
from tonegen.temperament import EQUAL, OwnTemperament, PitchClassTemperament, Temperament, string_cents

PLAINEST: Final = Setting()
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


@dataclass(frozen=True, slots=True, eq=False)
class Rig(Frozen):
    """Everything of a setting that sound and picture are made from."""

    instrument: Instrument
    targets: Temperament  # the player's targets, nothing moved
    temperament: Temperament  # the same with what was moved by hand
    drop: Drop
    timbre: Timbre
    reference_hz: float
    against: WrittenPitch | None
    moved: Mapping[TuningPoint, float]

    def state(self, travels: Mapping[str, float]) -> State:
        """The state of these travels; changes that this instrument does not have are left out."""
        known = {change.name for change in self.instrument.changes}
        return self.instrument.state({name: way for name, way in travels.items() if name in known})

    def grip(self, playing: Playing) -> Grip:
        """The strings that sound together; with roles and ratios where a preset has them."""
        return self.instrument.grip_of(playing.strings, self.state(playing.travels))

    def tones(self, playing: Playing) -> tuple[SoundingTone, ...]:
        """The strings of the grip as they sound, and the note that they are heard against."""
        tones = self._tones_of(self.grip(playing), playing)
        if self.against is not None and tones:
            return (tone_of(self.against, self.reference_hz, self.timbre), *tones)
        return tones

    def every_string(self, playing: Playing) -> tuple[SoundingTone, ...]:
        """Each string as it sounds in this state under the bar, whether it is in the grip or not."""
        numbers = tuple(string.number for string in self.instrument.strings)
        return self._tones_of(Grip("all", numbers), playing)

    def sounding(self, playing: Playing) -> Sounding:
        """What sounds together, with every interval in it."""
        return sound(self.tones(playing), self.reference_hz)

    def point(self, string: int, playing: Playing) -> TuningPoint:
        """The tuning point that a string stands on."""
        return self.instrument.point(string, self.state(playing.travels))

    def cents_moved_per_cent(self, string: int, playing: Playing) -> float:
        """How far the string moves when its tuning point moves by a cent: 1 at a stop, less on the way."""
        state, point = self.state(playing.travels), self.point(string, playing)
        higher = Moved(self.temperament, {point: self.temperament.offset_cents(self.instrument, point) + 1.0})
        above = string_cents(self.instrument, higher, string, state)
        return above - string_cents(self.instrument, self.temperament, string, state)

    def _tones_of(self, grip: Grip, playing: Playing) -> tuple[SoundingTone, ...]:
        return tones_of_grip(
            self.instrument, grip, self.state(playing.travels), playing.fret, self.temperament,
            self.drop, self.reference_hz, self.timbre,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class RigFault:
    """A part of a setting that cannot be had: what was asked of which part, why not, and what stands in."""

    part: str
    asked: tuple[object, ...]
    error: TonegenError
    instead: str

    @property
    def words(self) -> str:
        """In a line for the player."""
        return f"{self.error}; {self.instead}"


def rig_of(setting: Setting) -> Rig:
    """The rig of a setting. Raises BadPreset or BadValue when its parts do not fit together."""
    rig, faults = rig_for(setting)
    if faults:
        raise faults[0].error
    return rig


def rig_for(setting: Setting) -> tuple[Rig, tuple[RigFault, ...]]:
    """The rig of a setting, whatever became of its presets.

    What cannot be read is what it was when it was last read well; what never was, or does not fit, is the
    plainest of its kind.
    """
    faults: list[RigFault] = []

    def had(part: str, make: Callable[[], Made], instead: Made, words: str) -> Made:
        try:
            return make()
        except TonegenError as error:
            faults.append(RigFault(part, asked_of_part(setting, part), error, words))
            return instead

    def preset(kind: str, name: str, plainest: Callable[[], Any], words: str) -> Any:
        try:
            return shelf.take(kind, name)
        except TonegenError as error:
            good = shelf.last_good(kind, name)
            value, instead = (good[0], f"it was read {good[1]}") if good else (plainest(), words)
            faults.append(RigFault(kind[:-1], asked_of_part(setting, kind[:-1]), error, instead))
            return value

    instrument: Instrument = preset(
        "instruments", setting.instrument,
        lambda: replace(shelf.shipped("instruments", PLAINEST.instrument), name=setting.instrument),
        f"{PLAINEST.instrument} is used instead, as it came with the program",
    )  # fmt: skip
    targets: Temperament = preset(
        "temperaments", setting.temperament, lambda: EQUAL, "equal temperament is used instead"
    )
    if isinstance(targets, PitchClassTemperament):
        targets = targets.on(instrument.root if setting.root is None else setting.root)

    def fitting() -> Temperament:
        targets.offset_cents(instrument, TuningPoint(1))  # says so where it belongs to another instrument
        return targets

    plain: Temperament = EQUAL
    targets = had("temperament", fitting, plain, "equal temperament is used instead")
    points = {TuningPoint(moved.string, moved.changes): moved.offset_cents for moved in setting.moved}
    if isinstance(targets, OwnTemperament):
        merged = {**targets.offsets_cents, **points}
        left = targets.not_asked - points.keys()
        temperament: Temperament = replace(targets, offsets_cents=merged, not_asked=left)
    else:
        temperament = Moved(targets, points)
    sag: Drop = NO_DROP
    if setting.drop != NO_DROP.name:
        sag = preset("drops", setting.drop, lambda: NO_DROP, "no drop is used")
    timbre: Timbre = preset(
        "timbres", setting.timbre, lambda: shelf.shipped("timbres", PLAINEST.timbre),
        f"{PLAINEST.timbre} is used instead, as it came with the program",
    )  # fmt: skip
    rig = Rig(
        instrument,
        targets,
        temperament,
        had("drop", lambda: sag.checked_on(instrument), NO_DROP, "no drop is used"),
        timbre,
        had(
            "reference pitch", lambda: checked_reference_hz(setting.reference_hz), REFERENCE_HZ,
            f"A4 is {REFERENCE_HZ:g} Hz",
        ),
        had("against", lambda: _written(setting.against), None, "there is no bass to hear it against"),
        points,
    )  # fmt: skip
    return rig, tuple(faults)


def asked_of_part(setting: Setting, part: str) -> tuple[object, ...]:
    """What a setting asks of a part of the rig; a change of anything else cannot have spoilt that part."""
    match part:
        case "instrument":
            return (setting.instrument,)
        case "temperament":
            return setting.instrument, setting.temperament
        case "drop":
            return setting.instrument, setting.drop
        case "timbre":
            return (setting.timbre,)
        case "scene":
            return (setting.scene,)
        case "reference pitch":
            return (setting.reference_hz,)
    return (setting.against,)


def with_moved(setting: Setting, point: TuningPoint, offset_cents: float | None) -> tuple[MovedPoint, ...]:
    """The moved points of a setting once this one has that offset; None puts it back to its target."""
    others = [moved for moved in setting.moved if TuningPoint(moved.string, moved.changes) != point]
    if offset_cents is None:
        return tuple(others)
    return (*others, MovedPoint(point.string, point.changes, round(offset_cents, 4) + 0.0))


def _written(text: str) -> WrittenPitch | None:
    if not text:
        return None
    written = parse_pitch(text)
    if written.key is None and written.hz is None:
        raise BadValue(f'"{text}" is relative to another tone; write a note or Hz to hear the grip against')
    return written


def tone_of(
    written: WrittenPitch, reference_hz: float, timbre: Timbre, above_hz: float | None = None
) -> SoundingTone:
    """A written tone; `above_hz` is the one that cents count from. Raises BadValue for cents without one."""
    if written.key is not None:
        return tone_of_key(written.key, written.cents, reference_hz, written.text, timbre)
    hz = written.hz_at(reference_hz, above_hz=above_hz)
    return tone_of_hz(hz, reference_hz, "" if written.hz is not None else written.text, timbre)
