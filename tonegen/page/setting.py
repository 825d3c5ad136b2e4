"""What the page has beside what is set and what hands hold: work on it, how it sounds, and the way back.

A *setting* is work that is undone and redone: instrument, temperament, moved offsets, saved grips, readings.
*Playing* is what hands and feet do, and how it is heard: engaged changes, strings, bar, level.
"""

from typing import Annotated, Any, Final, Literal

import msgspec
from msgspec import Meta, Struct, field

from tonegen.dropfit.readings import METER_CENTS
from tonegen.presets.sets import PAGE
from tonegen.setup.setting import Hands, MovedPoint, Record, Setup, StringNumber
from tonegen.synthesis.player import QUIET_LEVEL_DBFS

_MOST_STEPS_BACK: Final = 200
_MOST_KEPT: Final = 50  # over a restart
_MOST_KEPT_BYTES: Final = 400_000  # one way; a draft's text may be long


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


class PedalControl(Struct, frozen=True, forbid_unknown_fields=True):
    """The MIDI controller that moves a pedal or lever: its number, 0 to 119, and its channel, 1 to 16."""

    change: str
    number: Annotated[int, Meta(ge=0, le=119)]
    channel: Annotated[int, Meta(ge=1, le=16)]


class Foot(Struct, frozen=True, forbid_unknown_fields=True):
    """A foot board at a MIDI input, "" for none, and the pedals and levers that it moves."""

    port: str = ""
    pedals: tuple[PedalControl, ...] = ()


KindOfOwn = Literal["instruments", "scenes", "drops", "receivers"]


class Draft(Record, frozen=True, forbid_unknown_fields=True):
    """A preset that is being made: its text so far, and the name that it will be saved as.

    was : the player's own that it was read from, "" for a new one. stamp : of what was read or written last.
    aside : by field, what was typed and would harm the text, such as a name that is taken
    """

    kind: KindOfOwn
    name: str
    was: str
    stamp: str
    text: str
    aside: dict[str, str] = field(default_factory=dict)


class Setting(Setup, frozen=True, forbid_unknown_fields=True):
    """What is undone and redone.

    scene, weights, pins, objective : what tempering is asked; a scene of "" is the instrument's own grips,
    and a grip that has no weight has that of the scene
    meter_cents : how good a reading of the meter is
    compared : two temperaments that are shown side by side; "" is the offsets as they are now
    draft : a preset of the player's own that is being made
    foot : the foot board whose controllers move pedals and levers
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
    draft: Draft | None = None
    foot: Foot = Foot()


class Playing(Hands, frozen=True, forbid_unknown_fields=True):
    """What sounds now. `only` is the pair, by its tones' names, of which only what beats is heard.

    two_tones : the two free tones sound instead of the grip, or only their beat
    evening : the set that is gone through; the song that it stands in is `song`
    goes_on : to the next step of the tuning order by itself, once one is heard to hold
    """

    only: tuple[str, str] | None = None
    two_tones: bool = False
    two_tones_only: bool = False
    split: bool = False
    sounding: bool = False
    muted: bool = False
    level_dbfs: Annotated[float, Meta(ge=-200, le=0)] = QUIET_LEVEL_DBFS
    evening: str = PAGE
    goes_on: bool = True


class KeptStep(Record, frozen=True, forbid_unknown_fields=True):
    """A step that can be undone or redone, as it is kept: its words, and the fields that it changes.

    fields : of the setting that it leads to, those that differ from the setting that it is taken in.
    """

    words: str
    fields: dict[str, Any]


class SettingHistory:
    """The settings before and after the present one, each with the words for the step that left it."""

    def __init__(
        self, present: Setting, undo: tuple[KeptStep, ...] = (), redo: tuple[KeptStep, ...] = ()
    ) -> None:
        """Begin with the steps that were kept, the next one first; what cannot be read ends them."""
        self.present = present
        self._past = _settings_along(present, undo)
        self._future = _settings_along(present, redo)
        self._gesture = ""

    def kept(self) -> tuple[tuple[KeptStep, ...], tuple[KeptStep, ...]]:
        """The steps back and the steps forward that outlive the program, the next one first."""
        return _steps_along(self.present, self._past), _steps_along(self.present, self._future)

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


def _settings_along(present: Setting, steps: tuple[KeptStep, ...]) -> list[tuple[str, Setting]]:
    """Where kept steps lead, the next one last."""
    found: list[tuple[str, Setting]] = []
    there = msgspec.to_builtins(present)
    for step in steps:
        there = {**there, **step.fields}
        try:
            found.append((step.words, msgspec.convert(there, Setting)))
        except msgspec.ValidationError:
            break
    return found[::-1]


def _steps_along(present: Setting, settings: list[tuple[str, Setting]]) -> tuple[KeptStep, ...]:
    kept: list[KeptStep] = []
    there, size = present, 0
    for words, setting in settings[: -_MOST_KEPT - 1 : -1]:
        fields = {
            name: msgspec.to_builtins(value)
            for name in Setting.__struct_fields__
            if (value := getattr(setting, name)) != getattr(there, name)
        }
        size += len(msgspec.json.encode(fields))
        if size > _MOST_KEPT_BYTES:
            break
        kept.append(KeptStep(words, fields))
        there = setting
    return tuple(kept)
