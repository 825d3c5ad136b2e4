"""What the page has beside what is set and what hands hold: work on it, how it sounds, and the way back.

A *setting* is work that is undone and redone: instrument, temperament, moved offsets, saved grips, readings.
*Playing* is what hands and feet do, and how it is heard: engaged changes, strings, bar, level.
"""

from typing import Annotated, Final, Literal

from msgspec import Meta, Struct, field

from tonegen.dropfit.readings import METER_CENTS
from tonegen.presets.sets import PAGE
from tonegen.setup.setting import Hands, MovedPoint, Setup, StringNumber
from tonegen.synthesis.player import QUIET_LEVEL_DBFS

_MOST_STEPS_BACK: Final = 200


class MeterReading(Struct, frozen=True, forbid_unknown_fields=True):
    """What a meter showed of a string, as it was typed: in "cents", in "hz", or "beats" against a tone.

    seconds, side, against, ratio : of a count of beats, as `presets.readings` has them
    """

    string: StringNumber
    changes: tuple[str, ...]
    unit: Annotated[str, Meta(pattern="^(cents|hz|beats)$")]
    value: str
    against: str = ""
    ratio: str = ""
    seconds: str = ""
    side: str = ""


class TwoTones(Struct, frozen=True, forbid_unknown_fields=True):
    """Two tones as they were typed, and the ratio that they stand for; "" is guessed."""

    low: str = "A3"
    high: str = "C#4"
    ratio: str = ""


class Setting(Setup, frozen=True, forbid_unknown_fields=True):
    """What is undone and redone.

    scene, weights, pins, objective : what tempering is asked; a scene of "" is the instrument's own grips,
    and a grip that has no weight has that of the scene
    meter_cents : how good a reading of the meter is
    compared : two temperaments that are shown side by side; "" is the offsets as they are now
    """

    instrument: str = "e9-ten-string"
    scene: str = ""
    weights: dict[str, Annotated[float, Meta(ge=0, le=100)]] = field(default_factory=dict)
    pins: tuple[MovedPoint, ...] = ()
    objective: Literal["beats", "cents", "worst-beats", "worst-cents"] = "beats"
    readings: tuple[MeterReading, ...] = ()
    meter_cents: Annotated[float, Meta(gt=0, le=100)] = METER_CENTS
    compared: tuple[str, str] | None = None
    two_tones: TwoTones = TwoTones()


class Playing(Hands, frozen=True, forbid_unknown_fields=True):
    """What sounds now. `only` is the pair, by its tones' names, of which only what beats is heard.

    two_tones : the two free tones sound instead of the grip, or only their beat
    evening : the set that is gone through; the song that it stands in is `song`
    """

    only: tuple[str, str] | None = None
    two_tones: bool = False
    two_tones_only: bool = False
    split: bool = False
    sounding: bool = False
    muted: bool = False
    level_dbfs: Annotated[float, Meta(ge=-200, le=0)] = QUIET_LEVEL_DBFS
    evening: str = PAGE


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
