"""The one engine behind all pages: what is set and played, the parts that act on it, and who is shown what.

Everything here runs in the event loop; what takes long is worked out in a thread and shown when it is done.
"""

import asyncio
from collections.abc import Callable, Coroutine
from contextlib import suppress
from typing import Any, Final, Protocol, TypeVar

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from tonegen.ear.comfort import REST_HINT, Rest
from tonegen.errors import TonegenError
from tonegen.instrument import Instrument
from tonegen.page import shelf
from tonegen.page.asked import Asked
from tonegen.page.hearing.part import HearingPart
from tonegen.page.hearing.shown import ChosenInput
from tonegen.page.keeping import Kept
from tonegen.page.notices.part import NoticesPart
from tonegen.page.part import Done, Part, Standing, Voice
from tonegen.page.play.part import what_can_be_chosen
from tonegen.page.registry import PARTS
from tonegen.page.setting import Playing, Setting, SettingHistory, TwoTones
from tonegen.page.sound.moments import Moment, moment_of
from tonegen.page.stage.stage import Stage
from tonegen.page.tones.two_tones import sounding_of
from tonegen.setup.moves import refitted
from tonegen.setup.rig import Rig, RigFault, asked_of_part, rig_for
from tonegen.sounding import Sounding
from tonegen.synthesis.player import QUIET_LEVEL_DBFS
from tonegen.synthesis.timbre import Tone

_SETTLED_SECONDS: Final = 0.4  # after a touch, moments come quickly until glides have ended
_QUICK_SECONDS: Final = 0.04
_CALM_SECONDS: Final = 0.5
_SAVE_AFTER_SECONDS: Final = 0.3
_FOLLOW_AFTER_SECONDS: Final = 0.1
_LOOK_AGAIN_SECONDS: Final = 1.0  # whether a preset that could not be read has been mended

OnePart = TypeVar("OnePart", bound=Part)


class Undo(Asked, frozen=True):
    """Take back the last step."""


class Redo(Asked, frozen=True):
    """Do the last undone step again."""


class Fault(Struct, tag="fault", frozen=True):
    """What went wrong, in one line for a person."""

    text: str


class Told(Struct, tag="told", frozen=True):
    """What was done, in one line, with the next step."""

    text: str


class Page(Protocol):
    """An open page: takes what it shall show; of several messages of a kind only the last matters."""

    def post(self, kind: str, message: bytes) -> None:
        """Hand over a message."""


class Engine:
    """What all pages share.

    kept : where it was left; save : writes it down again
    device : the sound device that was asked for, None for the default; block_frames : 0 lets it choose
    said : what there is to say about what was kept, a line each; undecided : not all of it could be read
    """

    def __init__(
        self,
        kept: Kept | None,
        save: Callable[[Kept], None],
        device: str | None = None,
        block_frames: int = 0,
        said: tuple[str, ...] = (),
        undecided: bool = False,
    ) -> None:
        """As it was left, but silent and quiet. Another stands in for a preset that cannot be read."""
        kept = kept or Kept()
        self._save = save
        self.pages: set[Page] = set()
        setting, tones_fault = _with_tones_that_can_be(kept.setting)
        rig, faults = _rig_of(setting, setting)
        self._history = SettingHistory(setting, kept.undo, kept.redo)
        quiet = min(kept.playing.level_dbfs, QUIET_LEVEL_DBFS)
        playing = replace(
            kept.playing, sounding=False, two_tones=False, two_tones_only=False, muted=False, level_dbfs=quiet
        )
        playing, sounding = _fitting_playing(playing, rig)
        self.at = Standing(setting, playing, rig, sounding, faults)
        self.stage = Stage(playing, device or kept.device, block_frames, self._publish, self.complain)
        self._voice = Voice()
        self._somebody_asks_alone = False
        self._rest = Rest()
        self._stirred = asyncio.Event()
        self._quick_until = 0.0
        self._saving: asyncio.TimerHandle | None = None
        self._following: asyncio.TimerHandle | None = None
        self._writing = asyncio.Lock()
        self._working: set[asyncio.Task[None]] = set()
        self.parts = tuple(part(self) for part in PARTS)
        self._changes = {asked: change for part in self.parts for asked, change in part.changes.items()}
        self._acts = {asked: (act, part) for part in self.parts for asked, act in part.acts.items()}
        self.part(NoticesPart).begin((*said, *tones_fault), undecided)
        self.part(HearingPart).begin(ChosenInput(kept.input, kept.input_channel))
        self._looking: asyncio.TimerHandle | None = None
        self._look_again_later()

    def part(self, kind: type[OnePart]) -> OnePart:
        """The part of a kind."""
        return next(part for part in self.parts if isinstance(part, kind))

    # ------------------------------------------------------------------ pages

    def join(self, page: Page) -> None:
        """Show a new page everything."""
        self.pages.add(page)
        for part in self.parts:
            for shown in part.shown():
                page.post(*_packed(shown))
        self._stir()

    def leave(self, page: Page) -> None:
        """A page was closed."""
        self.pages.discard(page)
        if not self.pages:
            for part in self.parts:
                part.leave_alone()

    def ask(self, asked: Asked) -> None:
        """Do what a page asks. Raises a TonegenError, having changed nothing, when that cannot be done."""
        kind = type(asked)
        if change := self._changes.get(kind):
            self.accept(change(asked, self.at))
        elif kind in self._acts:
            act, part = self._acts[kind]
            act(part, asked)
        else:
            self._go_back(forward=isinstance(asked, Redo))

    def accept(self, done: Done, presets_changed: bool = False) -> None:
        """Work everything out, then make it so; where something does not fit nothing is changed."""
        setting, playing, rig, faults = done.setting, done.playing, self.at.rig, self.at.faults
        if presets_changed or setting != self.at.setting:
            rig, faults = _rig_of(setting, self.at.setting)
            if rig.instrument != self.at.rig.instrument:
                playing = _on_instrument(playing, rig.instrument)
        at = Standing(setting, playing, rig, rig.sounding(playing), faults)
        self._history.step(setting, done.words, done.gesture)
        self._stand(at)
        if done.said:
            self.tell(done.said)

    def _go_back(self, forward: bool) -> None:
        words = self.redo_words if forward else self.undo_words
        there = self._history.redo if forward else self._history.undo
        there()
        setting, playing = self._history.present, self.at.playing
        rig, faults = _rig_of(setting, setting)  # whatever became of the presets of that time
        if rig.instrument != self.at.rig.instrument:
            playing = _on_instrument(playing, rig.instrument)
        self._stand(Standing(setting, playing, rig, rig.sounding(playing), faults))
        if words:
            self.tell(f"{'Redone' if forward else 'Undone'}: {words}.")

    def _look_again_later(self) -> None:
        """While a preset cannot be read, see now and then whether it has been mended."""
        if self.at.faults and self._looking is None:
            loop = asyncio.get_running_loop()
            self._looking = loop.call_later(_LOOK_AGAIN_SECONDS, self._look_again)

    def _look_again(self) -> None:
        self._looking = None
        setting = self.at.setting
        rig, faults = _rig_of(setting, setting)
        if [fault.words for fault in faults] != [fault.words for fault in self.at.faults]:
            self.show_presets()
            playing, sounding = _fitting_playing(self.at.playing, rig)
            self._stand(Standing(setting, playing, rig, sounding, faults))
        self._look_again_later()

    def _stand(self, at: Standing) -> None:
        self.at = at
        if at.playing.muted:
            for part in self.parts:
                part.hush()
        self._sound()
        self._publish()
        self._look_again_later()
        if self._saving is None:
            self._saving = asyncio.get_running_loop().call_later(_SAVE_AFTER_SECONDS, self._write_down_soon)

    def _publish(self) -> None:
        for part in self.parts:
            part.follow(self.at)
        if self._following is None:
            loop = asyncio.get_running_loop()
            self._following = loop.call_later(_FOLLOW_AFTER_SECONDS, self._follow_later)
        self._stir()

    def _follow_later(self) -> None:
        self._following = None
        for part in self.parts:
            part.follow_later(self.at)

    # ------------------------------------------------------------------ what parts find here

    @property
    def undo_words(self) -> str:
        """What undo would take back; empty when there is nothing."""
        return self._history.undo_words

    @property
    def redo_words(self) -> str:
        """What redo would do again; empty when there is nothing."""
        return self._history.redo_words

    def post(self, shown: Struct) -> None:
        """Show it to every page; of several of a kind only the last matters."""
        packed = _packed(shown)
        for page in self.pages:
            page.post(*packed)

    def complain(self, why: str) -> None:
        """Tell every page what went wrong, in one line."""
        self.post(Fault(why))

    def tell(self, words: str) -> None:
        """Tell every page what was done, in one line with the next step."""
        self.post(Told(words))

    def show_presets(self) -> None:
        """Presets were written: show pages what there is."""
        self.post(what_can_be_chosen())

    def work(self, work: Coroutine[Any, Any, None]) -> None:
        """Let something run on beside."""
        task = asyncio.get_running_loop().create_task(work)
        self._working.add(task)
        task.add_done_callback(self._working.discard)

    def sound_anew(self) -> None:
        """Another part has something to sound, or has no more, or has it for itself."""
        self._somebody_asks_alone = any(part.asks_alone for part in self.parts)
        self._sound()
        self._stir()

    # ------------------------------------------------------------------ the file that is kept

    def _write_down_soon(self) -> None:
        self._saving = None
        self.work(self._write_down_in_a_thread())

    async def _write_down_in_a_thread(self) -> None:
        """A disk can be slow; the pages need not wait for it."""
        async with self._writing:
            try:
                await asyncio.to_thread(self._save, self._to_keep())
            except TonegenError as error:
                self.complain(str(error))

    def _to_keep(self) -> Kept:
        undecided = self.part(NoticesPart).undecided
        heard_at = self.part(HearingPart).chosen
        undo, redo = self._history.kept()
        return Kept(
            self.at.setting, self.at.playing, self.stage.device_name,
            heard_at.name, heard_at.channel, undecided, undo=undo, redo=redo,
        )  # fmt: skip

    def write_down(self) -> None:
        """Save what was set and played."""
        if self._saving is not None:
            self._saving.cancel()
            self._saving = None
        try:
            self._save(self._to_keep())
        except TonegenError as error:
            self.complain(str(error))

    # ------------------------------------------------------------------ sound

    def _sound(self) -> None:
        """Sound what is wanted; who asks alone has the stage to itself, and sounds in the booth."""
        playing = self.at.playing
        if self._somebody_asks_alone:
            self._voice, playing = Voice(), replace(playing, sounding=True)
        else:
            self._voice = self._wanted_voice()
        self.stage.play(playing, self._voice.tones)

    def _wanted_voice(self) -> Voice:
        voices = (part.voice(self.at) for part in self.parts)
        return next(voice for voice in voices if voice is not None)  # the grip's is always there

    def present_sound(self) -> tuple[tuple[Tone, ...], float]:
        """The tones that sound, or would, and the level in dBFS that they stay under."""
        return self._wanted_voice().tones, self.at.playing.level_dbfs

    # ------------------------------------------------------------------ moments

    def moment(self) -> Moment:
        """What the clock shows now."""
        return moment_of(self.stage, self._voice.pairs() if self.at.playing.sounding else ())

    def _stir(self) -> None:
        self._quick_until = asyncio.get_running_loop().time() + _SETTLED_SECONDS
        self._stirred.set()

    async def run(self) -> None:
        """Send moments while something sounds: quickly after a touch, else now and then."""
        loop = asyncio.get_running_loop()
        while True:
            quick = loop.time() < self._quick_until
            sounds = self.at.playing.sounding or self._somebody_asks_alone
            if not (quick or (sounds and self.pages)):
                self._stirred.clear()
                await self._stirred.wait()
                continue
            self.post(self.moment())
            if self._rest.due(self.stage.sounded_seconds):
                self.complain(REST_HINT)
            self._stirred.clear()
            if quick:
                await asyncio.sleep(_QUICK_SECONDS)
            else:
                await _either(self._stirred, _CALM_SECONDS)

    async def close(self) -> None:
        """Write everything down, let every part end, and let the sound fade out."""
        if self._looking is not None:
            self._looking.cancel()
        async with self._writing:
            self.write_down()
        for part in self.parts:
            await part.close()
        if self._saving is not None:  # until it closed, a part could still change something
            self.write_down()
        await self.stage.close()


def _packed(shown: Struct) -> tuple[str, bytes]:
    """The kind of a message, which is its tag, and the message."""
    return str(shown.__struct_config__.tag), msgspec.json.encode(shown)


async def _either(event: asyncio.Event, seconds: float) -> None:
    try:
        async with asyncio.timeout(seconds):
            await event.wait()
    except TimeoutError:
        pass


def _rig_of(setting: Setting, before: Setting) -> tuple[Rig, tuple[RigFault, ...]]:
    """The rig of a setting, with the faults that it has as the one before does.

    Raises the error of a fault in what is another than before.
    """
    rig, faults = rig_for(setting, shelf)
    if setting.scene and not faults:  # which a scene has as well
        try:
            shelf.take("scenes", setting.scene)
        except TonegenError as error:
            faults += (RigFault("scene", _asked_of(setting, "scene"), error, "tempering does without it"),)
    for fault in faults:
        if fault.asked != _asked_of(before, fault.part):
            raise fault.error
    return rig, faults


def _asked_of(setting: Setting, part: str) -> tuple[object, ...]:
    return (setting.scene,) if part == "scene" else asked_of_part(setting, part)


def _with_tones_that_can_be(setting: Setting) -> tuple[Setting, tuple[str, ...]]:
    """The setting, its two free tones as at first where they cannot be read; and what to say of it."""
    rig, _ = rig_for(setting, shelf)
    try:
        sounding_of(setting, rig)
    except TonegenError as error:
        return replace(setting, two_tones=TwoTones()), (f"the two tones cannot be read: {error}",)
    return setting, ()


def _on_instrument(playing: Playing, instrument: Instrument) -> Playing:
    """Hands and feet moved over to another instrument, where all of the grip is heard."""
    return replace(refitted(playing, instrument), only=None)


def _fitting_playing(playing: Playing, rig: Rig) -> tuple[Playing, Sounding]:
    """Hands and feet as they are, and what they sound; as far as they fit the instrument."""
    for fitting in (playing, replace(playing, travels={}), Playing()):
        with suppress(TonegenError):
            there = _on_instrument(fitting, rig.instrument)
            return there, rig.sounding(there)
    raise AssertionError("an open string plays on any instrument")
