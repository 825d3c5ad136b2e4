"""What becomes of setting and playing when a page asks for something: pure, all or nothing."""

from dataclasses import dataclass
from typing import Final

from msgspec.structs import replace

from tonegen import presets
from tonegen.errors import BadPreset, BadValue
from tonegen.instrument import TuningPoint
from tonegen.page import comparing, metering, pairing, tempering
from tonegen.page import messages as asks
from tonegen.page.rig import Rig, rig_for, with_moved
from tonegen.page.setting import MeterReading, MovedPoint, Playing, SavedGrip, Setting, Song
from tonegen.page.view import LEAST_OFFSET_CENTS, MOST_OFFSET_CENTS, pair_name
from tonegen.sounding import Sounding, SoundingInterval
from tonegen.synthesis.player import checked_level_dbfs
from tonegen.tempering.scene import checked_point
from tonegen.words import signed

# Who touches strings, changes or the bar wants to hear the grip, not the two free tones.
_PLAYS_THE_GRIP: Final = (
    asks.Engage, asks.Release, asks.Stand, asks.Strings, asks.Grip, asks.Bar, asks.Song, asks.Only,
    asks.Offset, asks.Pure, asks.Equal, asks.Target,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Done:
    """What is set and played now. `words` say what undo would take back; steps of one `gesture` are one."""

    setting: Setting
    playing: Playing
    words: str = ""
    gesture: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """Where everything stands when a page asks."""

    setting: Setting
    playing: Playing
    rig: Rig
    sounding: Sounding

    def done(self, asked: asks.Asked) -> Done:
        """What comes of it. Raises a TonegenError for what cannot be meant."""
        setting, playing = self.setting, self.playing
        words = gesture = ""
        match asked:
            case asks.Engage():
                playing = replace(playing, travels=self._engaged(asked.change, asked.travel))
            case asks.Release():
                playing = replace(playing, travels={})
            case asks.Strings():
                playing = self._on_strings(asked.strings)
            case asks.Grip():
                playing = self._taken(asked.name)
            case asks.Bar():
                playing = replace(playing, fret=self.rig.instrument.checked_fret(asked.fret))
            case asks.Song():
                instrument = self.rig.instrument
                fret = instrument.checked_fret(instrument.fret_of_key(self._song(asked.name).key))
                playing = replace(playing, fret=fret, song=asked.name)
            case asks.Only():
                pair = None if asked.low is None or asked.high is None else (asked.low, asked.high)
                playing = replace(playing, only=pair)
            case asks.Tones():
                setting = pairing.with_tones(setting, self.rig, asked)
                words = f"two tones {setting.two_tones.low} and {setting.two_tones.high}"
            case asks.TuneTones():
                setting, words = pairing.tuned(setting, self.rig, asked.to), f"two tones {asked.to}"
            case asks.HearTones():
                playing = _hearing(playing, asked)
            case asks.Split():
                playing = replace(playing, split=asked.on)
            case asks.Sound():
                playing = replace(playing, sounding=asked.on, muted=False)
            case asks.Mute():
                playing = replace(playing, muted=asked.on)
            case asks.Level():
                playing = replace(playing, level_dbfs=checked_level_dbfs(asked.dbfs))
            case asks.Offset() | asks.Pure() | asks.Equal() | asks.Target():
                setting, words = self._moved(asked)
                gesture = asked.gesture if isinstance(asked, asks.Offset) else ""
            case asks.Targets():
                setting, words = replace(setting, moved=()), "everything back to its target"
            case asks.SaveGrip():
                setting, words = self._with_grip(asked.name), f"grip {asked.name} saved"
            case asks.ForgetGrip():
                left = tuple(grip for grip in setting.grips if grip.name != asked.name)
                setting, words = replace(setting, grips=left), f"grip {asked.name} forgotten"
            case asks.SaveSong():
                setting, words = self._with_song(asked), f"song {asked.name} on the set list"
            case asks.ForgetSong():
                others = tuple(song for song in setting.songs if song.name != asked.name)
                setting, words = replace(setting, songs=others), f"song {asked.name} off the set list"
            case asks.Choose():
                setting, words = _chosen(setting, asked)
            case asks.Scene():
                setting, words = self._with_scene(asked.name), f"scene {asked.name or 'none'}"
            case asks.Weigh():
                tempering.checked_grip(asked.grip, setting, self.rig)
                weights = {**setting.weights, asked.grip: asked.weight}
                setting, words = replace(setting, weights=weights), f"{asked.grip} weighs {asked.weight:g}"
            case asks.Pin():
                setting, words = self._with_pin(asked)
            case asks.Compare():
                setting, words = self._with_comparison(asked.between)
            case asks.Stand():
                travels = dict(self.rig.instrument.state(asked.changes).travels)
                playing = replace(playing, travels=travels)
            case asks.Read():
                read = self._read(asked)
                setting = metering.with_reading(setting, self.rig, read)
                words = f"read {metering.in_words(read)}"
            case asks.ReadList():
                setting, words = metering.with_list(setting, self.rig, asked.text), "a list of readings"
            case asks.Unread():
                setting, words = metering.without(setting, asked.at)
            case asks.Meter():
                setting = replace(setting, meter_cents=asked.cents)
                words = f"meter good to {asked.cents:g} cents"
            case asks.Objective():
                setting, words = replace(setting, objective=asked.name), f"least {asked.name}"
        if isinstance(asked, _PLAYS_THE_GRIP) or not playing.sounding:
            playing = replace(playing, two_tones=False, two_tones_only=False)
        if playing.two_tones and isinstance(asked, asks.Tones | asks.TuneTones | asks.HearTones):
            pairing.refuse_silence(setting, self.rig)
        return Done(setting, playing, words, gesture)

    def _engaged(self, change: str, travel: float) -> dict[str, float]:
        instrument = self.rig.instrument
        instrument.state({change: travel})
        rivals = {name for group in instrument.exclusive if change in group for name in group} - {change}
        kept = {name: way for name, way in self.playing.travels.items() if name not in rivals}
        if travel > 0:
            return {**kept, change: travel}
        kept.pop(change, None)
        return kept

    def _on_strings(self, strings: tuple[int, ...]) -> Playing:
        chosen = tuple(sorted(set(strings)))
        for number in chosen:
            self.rig.instrument.string(number)
        return replace(self.playing, strings=chosen, only=_still(self.playing.only, chosen))

    def _taken(self, name: str) -> Playing:
        for own in self.setting.grips:
            if own.name == name:
                strings, travels = own.strings, own.travels
                break
        else:
            grip = self.rig.instrument.grip(name)
            strings, travels = grip.strings, dict.fromkeys(grip.changes, 1.0)
        chosen = tuple(sorted(strings))
        return replace(self.playing, strings=chosen, travels=travels, only=_still(self.playing.only, chosen))

    def _with_grip(self, name: str) -> Setting:
        setting, playing = self.setting, self.playing
        if not name.strip():
            raise BadValue("a grip needs a name")
        if not playing.strings:
            raise BadValue("touch the strings of the grip first")
        others = tuple(grip for grip in setting.grips if grip.name != name)
        return replace(setting, grips=(*others, SavedGrip(name.strip(), playing.strings, playing.travels)))

    def _song(self, name: str) -> Song:
        for song in self.setting.songs:
            if song.name == name:
                return song
        known = ", ".join(song.name for song in self.setting.songs) or "none yet"
        raise BadValue(f'there is no song "{name[:60]}" on the set list; there are: {known}')

    def _with_song(self, asked: asks.SaveSong) -> Setting:
        """The songs with this one in its place, or last."""
        name = asked.name.strip()
        if not name:
            raise BadValue("a song needs a name")
        songs = {song.name: song for song in self.setting.songs} | {name: Song(name, asked.key)}
        return replace(self.setting, songs=tuple(songs.values()))

    def _moved(self, asked: asks.Offset | asks.Pure | asks.Equal | asks.Target) -> tuple[Setting, str]:
        rig, setting = self.rig, self.setting
        rig.instrument.string(asked.string)
        point = rig.point(asked.string, self.playing)
        match asked:
            case asks.Target():
                moved = with_moved(setting, point, None)
                return replace(setting, moved=moved), f"{point} to its target"
            case asks.Equal():
                offset_cents = 0.0
            case asks.Offset():
                offset_cents = asked.offset_cents
            case asks.Pure():
                offset_cents = self._pure_offset(point, asked.string, asked.against)
        if not LEAST_OFFSET_CENTS <= offset_cents <= MOST_OFFSET_CENTS:  # false for NaN as well
            raise BadValue(
                f"{point} at {signed(offset_cents, 1)} cents is out of range; "
                f"offsets go from {LEAST_OFFSET_CENTS:g} to {MOST_OFFSET_CENTS:g}"
            )
        moved = with_moved(setting, point, offset_cents)
        return replace(setting, moved=moved), f"{point} to {signed(offset_cents, 1)}"

    def interval(self, string: int, against: int) -> SoundingInterval:
        """The interval of two strings that sound together. Raises BadValue when they do not."""
        for interval in self.sounding.intervals:
            if {pair_name(interval.low), pair_name(interval.high)} == {string, against}:
                return interval
        raise BadValue(f"strings {string} and {against} do not sound together")

    def _pure_offset(self, point: TuningPoint, string: int, against: int) -> float:
        """The offset that makes the string's interval with another one pure, drop and travel considered."""
        rig, playing = self.rig, self.playing
        interval = self.interval(string, against)
        now = rig.temperament.offset_cents(rig.instrument, point)
        slope = rig.cents_moved_per_cent(string, playing)
        if slope < 0.05:
            raise BadValue(f"{point} hardly moves string {string} here; engage its change further")
        wide = interval.cents_from_just if pair_name(interval.high) == string else -interval.cents_from_just
        return now - wide / slope

    def _with_scene(self, name: str) -> Setting:
        if name and name not in presets.names("scenes"):
            raise BadPreset(f'there is no scene called "{name[:40]}"; see: tonegen list scenes')
        setting = tempering.with_scene(self.setting, name)
        tempering.scene_of(setting, self.rig)
        return setting

    def _with_comparison(self, between: tuple[str, str] | None) -> tuple[Setting, str]:
        setting = replace(self.setting, compared=between)
        if between is None:
            return setting, "comparison put away"
        comparing.compare(setting, self.rig)  # says so where one of them does not fit
        return setting, f"{' and '.join(name or comparing.NOW for name in between)} compared"

    def _read(self, asked: asks.Read) -> MeterReading:
        """What the meter shows with the changes as they stand. Raises BadValue when one is half-way."""
        state = self.rig.state(self.playing.travels)
        for name, travel in state.travels.items():
            if 0 < travel < 1:
                raise BadValue(f"{name} is half-way; a reading is taken at its stop or at rest")
        changes = tuple(name for name, travel in state.travels.items() if travel)
        return MeterReading(asked.string, changes, asked.unit, asked.value, asked.against, asked.ratio)

    def _with_pin(self, asked: asks.Pin) -> tuple[Setting, str]:
        """Hold a point at the offset that it has; one that is held is let go."""
        setting, rig = self.setting, self.rig
        point = checked_point(rig.instrument, asked.string, asked.changes)
        others = tuple(pin for pin in setting.pins if TuningPoint(pin.string, pin.changes) != point)
        if len(others) < len(setting.pins):
            return replace(setting, pins=others), f"{point} let go"
        offset_cents = rig.temperament.offset_cents(rig.instrument, point)
        pin = MovedPoint(point.string, point.changes, offset_cents)
        return replace(setting, pins=(*others, pin)), f"{point} held"


def _hearing(playing: Playing, asked: asks.HearTones) -> Playing:
    """The two free tones are heard at once; without them the sound goes on with the grip."""
    if not asked.on:
        return replace(playing, two_tones=False, two_tones_only=False)
    return replace(playing, two_tones=True, two_tones_only=asked.only, sounding=True, muted=False)


def _still(only: tuple[int, int] | None, strings: tuple[int, ...]) -> tuple[int, int] | None:
    """The pair that is heard alone, while both of it still sound."""
    return only if only and set(only) <= {0, *strings} else None


def _chosen(setting: Setting, asked: asks.Choose) -> tuple[Setting, str]:
    """The setting with what was chosen; what belongs to another instrument goes with that instrument."""
    given = {
        name: value
        for name in ("instrument", "temperament", "drop", "timbre", "reference_hz", "against")
        if (value := getattr(asked, name)) is not None
    }
    words = ", ".join(f"{name.removesuffix('_hz')} {value or 'none'}" for name, value in given.items())
    chosen = replace(setting, **given)
    if asked.root is not None:
        chosen = replace(chosen, root=None if asked.root < 0 else asked.root)
        words = words or "root"
    if chosen.instrument != setting.instrument:
        chosen = replace(
            chosen, moved=(), grips=(), root=None, scene="", weights={}, pins=(), readings=(), compared=None
        )
        chosen = _fitting(chosen, "drop", "none") if asked.drop is None else chosen
        chosen = _fitting(chosen, "temperament", "equal") if asked.temperament is None else chosen
    elif chosen.temperament != setting.temperament:
        chosen = replace(chosen, moved=())
    return chosen, words


def _fitting(setting: Setting, field: str, otherwise: str) -> Setting:
    """The same setting, or the one with `otherwise` where the two do not go together."""
    _, faults = rig_for(setting)
    return replace(setting, **{field: otherwise}) if field in [fault.part for fault in faults] else setting
