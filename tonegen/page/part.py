"""What a part of the page is: what can be asked of it, what comes of that, what it shows and sounds.

A *change* is pure: from what is asked and where everything stands it makes what is set and played next, or
raises a TonegenError and nothing happened. An *act* is everything else: work in a thread, ports, files.
"""

from collections.abc import Callable, Coroutine, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Final, Protocol, TypeVar

from msgspec import Struct
from msgspec.structs import replace

from tonegen.errors import BadValue
from tonegen.page.asked import Asked
from tonegen.page.setting import Playing, Setting
from tonegen.page.stage.stage import Stage
from tonegen.setup.rig import Rig, RigFault
from tonegen.sounding import Sounding, SoundingInterval, SoundingTone, places
from tonegen.synthesis.timbre import Tone


@dataclass(frozen=True, slots=True)
class Done:
    """What is set and played now. `words` say what undo would take back; steps of one `gesture` are one.

    said : a line for the player, where not all of it can be seen: what was done, and the next step.
    """

    setting: Setting
    playing: Playing
    words: str = ""
    gesture: str = ""
    said: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """Where everything stands: what is set, what is played, the rig that this makes, and what sounds.

    faults : what of the rig cannot be had as it is set
    """

    setting: Setting
    playing: Playing
    rig: Rig
    sounding: Sounding
    faults: tuple[RigFault, ...] = ()

    def plays(self, **changed: Any) -> Done:
        """Other playing, with nothing to undo."""
        return Done(self.setting, replace(self.playing, **changed))

    def sets(self, words: str, gesture: str = "", said: str = "", **changed: Any) -> Done:
        """Another setting, with the words for what undo takes back, and what the player is told."""
        return Done(replace(self.setting, **changed), self.playing, words, gesture, said)

    def interval(self, one: str, other: str) -> SoundingInterval:
        """The interval of two tones that sound together. Raises BadValue when they do not."""
        for interval in self.sounding.intervals:
            if {tone_name(interval.low), tone_name(interval.high)} == {one, other}:
                return interval
        raise BadValue(f"strings {one} and {other} do not sound together")


@dataclass(frozen=True, slots=True)
class Pair:
    """Two tones that sound together, by the names that pages and player know them by.

    multiple : which of their coincident pairs is listened to.
    """

    low: str
    high: str
    interval: SoundingInterval
    multiple: int = 1


@dataclass(frozen=True, slots=True)
class Voice:
    """What sounds: the tones of a sounding, in its order, as the player has them, each under its name."""

    tones: tuple[Tone, ...] = ()
    sounding: Sounding | None = None

    def pairs(self) -> Iterator[Pair]:
        """The pairs whose beats are shown."""
        if self.sounding is not None:
            for interval in self.sounding.intervals:
                low, high = places(self.sounding, interval)
                yield Pair(self.tones[low].name, self.tones[high].name, interval, self.sounding.multiple)


BASS: Final = "bass"  # the note that the grip is heard against

Change = Callable[[Any, Standing], Done]
Act = Callable[[Any, Any], None]


OnePart = TypeVar("OnePart", bound="Part")


class Host(Protocol):
    """What a part finds at the engine. All of it belongs to the event loop."""

    stage: Stage

    @property
    def at(self) -> Standing:
        """Where everything stands."""

    @property
    def undo_words(self) -> str:
        """What undo would take back; empty when there is nothing."""

    @property
    def redo_words(self) -> str:
        """What redo would do again; empty when there is nothing."""

    def ask(self, asked: Asked) -> None:
        """Do what a page would ask. Raises a TonegenError, having changed nothing, when that cannot be."""

    def part(self, kind: type[OnePart]) -> OnePart:
        """Another part, by its kind."""

    def accept(self, done: Done, presets_changed: bool = False) -> None:
        """Make it so, or raise a TonegenError and change nothing."""

    def show_presets(self) -> None:
        """Presets were written: show pages what there is."""

    def sound_anew(self) -> None:
        """Another part has something to sound, or has no more, or has it for itself."""

    def post(self, shown: Struct) -> None:
        """Show it to every page; of several of a kind only the last matters."""

    def complain(self, why: str) -> None:
        """Tell every page what went wrong, in one line."""

    def tell(self, words: str) -> None:
        """Tell every page what was done, in one line with the next step."""

    def work(self, work: Coroutine[Any, Any, None]) -> None:
        """Let something run on beside."""


class Part:
    """A part of the page; what it has nothing to say to stays as it is here."""

    changes: ClassVar[Mapping[type[Asked], Change]] = {}
    acts: ClassVar[Mapping[type[Asked], Act]] = {}  # methods of the part

    def __init__(self, host: Host) -> None:
        """Nothing is worked out or opened before a page asks."""
        self.host = host

    def shown(self) -> Iterable[Struct]:
        """What a page that was just opened is shown."""
        return ()

    def follow(self, at: Standing) -> None:
        """Something was set or played."""

    def follow_later(self, at: Standing) -> None:
        """The same, but only once a drag has come to rest."""

    def voice(self, at: Standing) -> Voice | None:
        """What this part sounds in place of the grip; None while it has nothing."""
        return None

    @property
    def asks_alone(self) -> bool:
        """Whether it has the sound for itself, so that nothing else must be heard; told by `sound_anew`."""
        return False

    def hush(self) -> None:
        """The sound was muted."""

    def leave_alone(self) -> None:
        """The last page was closed."""

    async def close(self) -> None:
        """The program ends: take back what was sent, and let go."""


def tone_name(tone: SoundingTone) -> str:
    """The name by which pages and player know a tone of the grip: its string's number, or the bass."""
    return BASS if tone.string is None else str(tone.string)
