"""What the player has set up, and what is being done with it: frozen records, and the way back.

Conventions: a *setting* is work that is undone and redone: instrument, temperament, moved offsets, saved
grips. *Playing* is what hands and feet do: engaged changes, strings, bar, level. Offsets are cents from
equal temperament.
"""

from typing import Annotated, Final, Literal

from msgspec import Meta, Struct
from msgspec.structs import force_setattr

from tonegen.dropfit import METER_CENTS
from tonegen.frozen import read_only
from tonegen.pitch import REFERENCE_HZ
from tonegen.synthesis.player import QUIET_LEVEL_DBFS

_MOST_STEPS_BACK: Final = 200

# What a kept file may hold; a value outside is as unreadable as one of another type.
StringNumber = Annotated[int, Meta(ge=1, le=64)]
PitchClass = Annotated[int, Meta(ge=0, le=11)]
Cents = Annotated[float, Meta(ge=-1200, le=1200)]
Travel = Annotated[float, Meta(ge=0, le=1)]


class Record(Struct, frozen=True):
    """What has mappings in it and stays as it was made."""

    def __post_init__(self) -> None:
        """Make the mappings read-only."""
        for name in self.__struct_fields__:
            force_setattr(self, name, read_only(getattr(self, name)))


class MovedPoint(Struct, frozen=True, forbid_unknown_fields=True):
    """A tuning point that the player moved by hand, with the offset given to it."""

    string: StringNumber
    changes: tuple[str, ...]
    offset_cents: Cents


class SavedGrip(Record, frozen=True, forbid_unknown_fields=True):
    """A grip that the player saved: its strings, and how far each change is engaged."""

    name: str
    strings: tuple[StringNumber, ...]
    travels: dict[str, Travel]


class Song(Struct, frozen=True, forbid_unknown_fields=True):
    """A song of the set list; its key is a pitch class."""

    name: str
    key: PitchClass


class MeterReading(Struct, frozen=True, forbid_unknown_fields=True):
    """What a meter showed of a string, as it was typed: in "cents", in "hz", or "beats" against a tone."""

    string: StringNumber
    changes: tuple[str, ...]
    unit: Annotated[str, Meta(pattern="^(cents|hz|beats)$")]
    value: str
    against: str = ""
    ratio: str = ""


class TwoTones(Struct, frozen=True, forbid_unknown_fields=True):
    """Two tones as they were typed, and the ratio that they stand for; "" is guessed."""

    low: str = "A3"
    high: str = "C#4"
    ratio: str = ""


class Setting(Record, frozen=True, forbid_unknown_fields=True):
    """What is undone and redone. `root` is a pitch class, None for the instrument's own; `against` a note.

    scene, weights, pins, objective : what tempering is asked; a scene of "" is the instrument's own grips,
    and a grip that has no weight has that of the scene
    meter_cents : how good a reading of the meter is
    compared : two temperaments that are shown side by side; "" is the offsets as they are now
    songs : the set list, in its order
    """

    instrument: str = "e9-ten-string"
    temperament: str = "equal"
    root: PitchClass | None = None
    drop: str = "none"
    reference_hz: float = REFERENCE_HZ
    timbre: str = "harmonic"
    against: str = ""
    moved: tuple[MovedPoint, ...] = ()
    grips: tuple[SavedGrip, ...] = ()
    scene: str = ""
    weights: dict[str, Annotated[float, Meta(ge=0, le=100)]] = {}
    pins: tuple[MovedPoint, ...] = ()
    objective: Literal["beats", "cents", "worst-beats", "worst-cents"] = "beats"
    readings: tuple[MeterReading, ...] = ()
    meter_cents: Annotated[float, Meta(gt=0, le=100)] = METER_CENTS
    compared: tuple[str, str] | None = None
    two_tones: TwoTones = TwoTones()
    songs: tuple[Song, ...] = ()


class Playing(Record, frozen=True, forbid_unknown_fields=True):
    """What sounds now. `only` is the pair, by its tones' names, of which only what beats is heard.

    two_tones : the two free tones sound instead of the grip, or only their beat
    song : the one whose key the bar was brought to last
    """

    travels: dict[str, Travel] = {}
    strings: tuple[StringNumber, ...] = ()
    fret: Annotated[float, Meta(ge=0, le=48)] = 0.0
    song: str = ""
    only: tuple[str, str] | None = None
    two_tones: bool = False
    two_tones_only: bool = False
    split: bool = False
    sounding: bool = False
    muted: bool = False
    level_dbfs: Annotated[float, Meta(ge=-200, le=0)] = QUIET_LEVEL_DBFS


class SettingHistory:
    """The settings before and after the present one, each with the words for the step that left it."""

    def __init__(self, present: Setting) -> None:
        """Begin with nothing to go back to."""
        self.present = present
        self._past: list[tuple[str, Setting]] = []
        self._future: list[tuple[str, Setting]] = []
        self._gesture = ""

    @property
    def undo_words(self) -> str:
        """What would be undone; empty when there is nothing."""
        return self._past[-1][0] if self._past else ""

    @property
    def redo_words(self) -> str:
        """What would be done again; empty when there is nothing."""
        return self._future[-1][0] if self._future else ""

    def step(self, setting: Setting, words: str, gesture: str = "") -> None:
        """Go to another setting; steps of one gesture, such as a drag, are undone together."""
        if setting == self.present:
            return
        if not (gesture and gesture == self._gesture and self._past):
            self._past.append((words, self.present))
            del self._past[:-_MOST_STEPS_BACK]
        else:
            self._past[-1] = (words, self._past[-1][1])
        self._gesture = gesture
        self._future.clear()
        self.present = setting

    def undo(self) -> None:
        """Go back one step, if there is one."""
        self._move(self._past, self._future)

    def redo(self) -> None:
        """Do the last undone step again, if there is one."""
        self._move(self._future, self._past)

    def _move(self, source: list[tuple[str, Setting]], kept: list[tuple[str, Setting]]) -> None:
        if source:
            words, setting = source.pop()
            kept.append((words, self.present))
            self.present = setting
            self._gesture = ""
