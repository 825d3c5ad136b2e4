"""The one engine behind all pages: what is set and played, and what of it pages are shown.

Everything here runs in the event loop; what takes long is worked out in a thread and shown when it is done.
"""

import asyncio
from collections.abc import Callable, Coroutine
from contextlib import suppress
from importlib.metadata import version
from typing import TYPE_CHECKING, Any, Final, Protocol

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from tonegen.ear.history import FILE_NAME
from tonegen.errors import BadValue, NoSuchDevice, TonegenError
from tonegen.order.plan import Order
from tonegen.order.walk import Listening
from tonegen.page import messages as asks
from tonegen.page import ordering, pairing, shelf, tempering
from tonegen.page.comparing import Comparison
from tonegen.page.counting import count_of, count_of_rate
from tonegen.page.doing import Done, Standing
from tonegen.page.keeping import Kept
from tonegen.page.metering import Meter
from tonegen.page.moments import Moment, moment_of
from tonegen.page.outlet import InPage
from tonegen.page.rig import Fault as RigFault
from tonegen.page.rig import Rig, asked_of_part, rig_for
from tonegen.page.setting import History, Playing, Setting, TwoTones
from tonegen.page.stage import SourceAt, Stage
from tonegen.page.view import View, choices, engaging_keys, pair_name, refitted, view
from tonegen.presets import own_folder
from tonegen.presets.own import save_temperament
from tonegen.sounding import Sounding, SoundingTone, places, tones_to_play
from tonegen.synthesis.player import HEARING_CAUTION, QUIET_LEVEL_DBFS
from tonegen.synthesis.timbre import Tone, beating_only
from tonegen.temperament import OwnTemperament
from tonegen.tempering.scene import Scene

if TYPE_CHECKING:
    from tonegen.keys.plan import Plan
    from tonegen.page.ears import Ears
    from tonegen.page.keyboards import Keyboards
    from tonegen.page.remote import RemoteSwitch

_SETTLED_SECONDS: Final = 0.4  # after a touch, moments come quickly until glides have ended
_QUICK_SECONDS: Final = 0.04
_CALM_SECONDS: Final = 0.5
_SAVE_AFTER_SECONDS: Final = 0.3
# Who asks for these wants to hear them: they end a mute, as the sound's own button does.
_HEARD_AT_ONCE: Final = (asks.Train, asks.GoOn, asks.Hear, asks.Demonstrate)
_FOLLOW_AFTER_SECONDS: Final = 0.1
_LOOK_AGAIN_SECONDS: Final = 1.0  # whether a preset that could not be read has been mended


class Fault(Struct, tag="fault", frozen=True):
    """What went wrong, in one line for a person."""

    text: str


class Notices(Struct, tag="notices", frozen=True):
    """What could not be read, a line each; `undecided` until the player goes on with what is shown."""

    lines: tuple[str, ...]
    undecided: bool


class Devices(Struct, tag="devices", frozen=True):
    """The sound devices of the machine, and the one that was chosen by name."""

    names: tuple[str, ...]
    chosen: str | None


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
        self._said = (*said, *tones_fault)
        self._file_undecided = undecided
        self._decided: frozenset[tuple[object, ...]] = frozenset()
        self._looking: asyncio.TimerHandle | None = None
        self._rig, self._faults = self._rig_for(setting, setting)
        self._history = History(setting)
        quiet = min(kept.playing.level_dbfs, QUIET_LEVEL_DBFS)
        playing = replace(
            kept.playing, sounding=False, two_tones=False, two_tones_only=False, muted=False, level_dbfs=quiet
        )
        self._playing, self._sounding = _fitting_playing(playing, self._rig)
        self._keys = engaging_keys(self._rig.instrument)
        self._revision = 0
        self._stage = Stage(self._playing, device or kept.device, block_frames, self._publish, self._complain)
        self._stirred = asyncio.Event()
        self._quick_until = 0.0
        self._saving: asyncio.TimerHandle | None = None
        self._writing = asyncio.Lock()
        self._found: tempering.Found | None = None
        self._along = -1
        self._plan: Order | None = None
        self._plan_is_stale = False
        self._listening: Listening | None = None
        self._keyboards: Keyboards | None = None
        self._remote: RemoteSwitch | None = None
        self._ears: Ears | None = None
        self._working: set[asyncio.Task[None]] = set()
        self._following: asyncio.TimerHandle | None = None
        self._tempered_for: Setting | None = None
        self._meter = Meter(lambda shown: self._post("readings", shown))
        self._comparison = Comparison(lambda shown: self._post("compared", shown))
        self._view = self._viewed()
        self._two_tones = pairing.view_of(setting, self._rig, self._playing)
        self._notices = self._noticed()
        self._look_again_later()

    # ------------------------------------------------------------------ pages

    def join(self, page: Page) -> None:
        """Show a new page everything."""
        self.pages.add(page)
        page.post("choices", msgspec.json.encode(choices(HEARING_CAUTION, version("tonegen"))))
        page.post("view", msgspec.json.encode(self._view))
        page.post("notices", msgspec.json.encode(self._notices))
        page.post("two", msgspec.json.encode(self._two_tones))
        present = self._history.present
        page.post("asked", msgspec.json.encode(tempering.asked_of(present, self._rig)))
        page.post("offer", msgspec.json.encode(tempering.offer_of(self._found, self._along)))
        page.post("order", msgspec.json.encode(self._plan_view()))
        self._meter.follow(present, self._rig)
        page.post("readings", msgspec.json.encode(self._meter.view()))
        self._comparison.follow(present, self._rig)
        page.post("compared", msgspec.json.encode(self._comparison.view()))
        if self._keyboards is not None:
            page.post("keys", msgspec.json.encode(self._keyboards.view()))
        if self._remote is not None:
            page.post("remote", msgspec.json.encode(self._remote.view()))
        if self._ears is not None:
            for kind, shown in self._ears.shown.items():
                page.post(kind, msgspec.json.encode(shown))
        self._stir()

    def leave(self, page: Page) -> None:
        """A page was closed; trials that nobody sees stop, and wait."""
        self.pages.discard(page)
        if not self.pages and self._in_trials:
            self._train(asks.Pause())

    def ask(self, asked: asks.Asked) -> None:
        """Do what a page asks. Raises a TonegenError, having changed nothing, when that cannot be done."""
        if isinstance(asked, asks.Undo | asks.Redo):
            self._go_back(forward=isinstance(asked, asks.Redo))
        elif isinstance(asked, asks.Decide):
            self._decide()
        elif isinstance(asked, asks.Device):
            self._stage.choose_device(asked.name)
        elif isinstance(asked, asks.Devices):
            self._work(self._show_devices())
        elif isinstance(asked, asks.Tapped):
            self._work(self._count(asked))
        elif isinstance(asked, asks.Counted):
            interval = self._standing().interval(asked.low, asked.high)
            counted = f"{asked.beats:g} in {asked.seconds:g} s"
            rate = asked.beats / asked.seconds
            self._post("count", count_of_rate(asked.low, asked.high, interval, rate, counted))
        elif isinstance(asked, asks.Temper | asks.Along | asks.ThrowAway):
            self._temper(asked)
        elif isinstance(asked, asks.Order | asks.Step):
            self._order(asked)
        elif isinstance(asked, asks.Keys | asks.Receiver | asks.Send | asks.Through | asks.PutBack):
            self._tune_keyboards(asked)
        elif isinstance(asked, asks.Listen):
            self._work(self._with_remote().listen(asked.port))
        elif isinstance(asked, asks.AboutEars):
            self._train(asked)
        elif isinstance(asked, asks.Keep):
            kept = self._kept(asked.name)
            self._accept(Done(kept, self._playing, f"kept as {asked.name}"), presets_changed=True)
        elif isinstance(asked, asks.KeepDrop):
            kept = self._kept_drop(asked.name)
            self._accept(Done(kept, self._playing, f"drop kept as {asked.name}"), presets_changed=True)
        elif isinstance(asked, asks.TakeOffer):
            self._accept(Done(self._tempered(), self._playing, "tempered"))
        else:
            self._accept(self._standing().done(asked))

    def _standing(self) -> Standing:
        return Standing(self._history.present, self._playing, self._rig, self._sounding)

    def _accept(self, done: Done, presets_changed: bool = False) -> None:
        """Work everything out, then make it so; where something does not fit nothing is changed."""
        rig, setting, playing, faults = self._rig, done.setting, done.playing, self._faults
        if presets_changed or setting != self._history.present:
            rig, faults = self._rig_for(setting, self._history.present)
            playing = refitted(playing, rig.instrument) if rig.instrument != self._rig.instrument else playing
        sounding = rig.sounding(playing)
        if rig.instrument != self._rig.instrument:
            self._keys = engaging_keys(rig.instrument)
        self._history.step(setting, done.words, done.gesture)
        self._faults = faults
        self._show(rig, playing, sounding)

    def _go_back(self, forward: bool) -> None:
        there = self._history.redo if forward else self._history.undo
        there()
        present = self._history.present
        rig, self._faults = self._rig_for(present, present)  # whatever became of the presets of that time
        playing = self._playing
        if rig.instrument != self._rig.instrument:
            playing = refitted(playing, rig.instrument)
            self._keys = engaging_keys(rig.instrument)
        self._show(rig, playing, rig.sounding(playing))

    def _rig_for(self, setting: Setting, before: Setting) -> tuple[Rig, tuple[RigFault, ...]]:
        """The rig of a setting, with the faults that it has as the one before does.

        Raises the error of a fault in what is another than before.
        """
        rig, faults = rig_for(setting)
        if setting.scene and not faults:  # which a scene has as well
            try:
                shelf.take("scenes", setting.scene)
            except TonegenError as error:
                asked = asked_of_part(setting, "scene")
                faults += (RigFault("scene", asked, error, "tempering does without it"),)
        for fault in faults:
            if fault.asked != asked_of_part(before, fault.part):
                raise fault.error
        return rig, faults

    def _look_again_later(self) -> None:
        """While a preset cannot be read, see now and then whether it has been mended."""
        if self._faults and self._looking is None:
            loop = asyncio.get_running_loop()
            self._looking = loop.call_later(_LOOK_AGAIN_SECONDS, self._look_again)

    def _look_again(self) -> None:
        self._looking = None
        present = self._history.present
        rig, faults = self._rig_for(present, present)
        if [fault.words for fault in faults] != [fault.words for fault in self._faults]:
            self._faults = faults
            playing, sounding = _fitting_playing(self._playing, rig)
            self._keys = engaging_keys(rig.instrument)
            self._post("choices", choices(HEARING_CAUTION, version("tonegen")))
            self._show(rig, playing, sounding)
        self._look_again_later()

    @property
    def _undecided(self) -> bool:
        return self._file_undecided or any(
            (one.part, *one.asked) not in self._decided for one in self._faults
        )

    def _noticed(self) -> Notices:
        return Notices((*self._said, *(fault.words for fault in self._faults)), self._undecided)

    def _decide(self) -> None:
        """Write what is shown in the place of what could not be read; what is said of that is done with."""
        self._file_undecided, self._said = False, ()
        self._decided |= {(one.part, *one.asked) for one in self._faults}
        self._show(self._rig, self._playing, self._sounding)

    def _show(self, rig: Rig, playing: Playing, sounding: Sounding) -> None:
        if rig is not self._rig and self._plan is not None and not self._plan_is_stale:
            self._plan_is_stale = True
            self._post("order", self._plan_view())
        self._rig, self._playing, self._sounding = rig, playing, sounding
        if playing.muted and self._ears is not None:
            self._ears.hush()
        self._play()
        self._revision += 1
        self._publish()
        notices = self._noticed()
        if notices != self._notices:
            self._notices = notices
            self._post("notices", notices)
        self._look_again_later()
        if self._saving is None:
            self._saving = asyncio.get_running_loop().call_later(_SAVE_AFTER_SECONDS, self._write_down_soon)

    def _publish(self) -> None:
        self._view = self._viewed()
        self._post("view", self._view)
        present = self._history.present
        two_tones = pairing.view_of(present, self._rig, self._playing)
        if two_tones != self._two_tones:
            self._two_tones = two_tones
            self._post("two", two_tones)
        asked_before, self._tempered_for = self._tempered_for, present
        if asked_before is None or tempering.differs(asked_before, present):
            self._post("asked", tempering.asked_of(present, self._rig))
        self._meter.follow(present, self._rig)
        if self._following is None:
            loop = asyncio.get_running_loop()
            self._following = loop.call_later(_FOLLOW_AFTER_SECONDS, self._follow)
        self._stir()

    def _viewed(self) -> View:
        return view(
            self._rig, self._history, self._playing, self._sounding, self._stage.words, self._revision,
            self._keys,
        )  # fmt: skip

    def _post(self, kind: str, message: Struct) -> None:
        encoded = msgspec.json.encode(message)
        for page in self.pages:
            page.post(kind, encoded)

    def _complain(self, text: str) -> None:
        self._post("fault", Fault(text))

    def _write_down_soon(self) -> None:
        self._saving = None
        self._work(self._write_down_in_a_thread())

    async def _write_down_in_a_thread(self) -> None:
        """A disk can be slow; the pages need not wait for it."""
        async with self._writing:
            try:
                await asyncio.to_thread(self._save, self._to_keep())
            except TonegenError as error:
                self._complain(str(error))

    def _to_keep(self) -> Kept:
        return Kept(self._history.present, self._playing, self._stage.device_name, self._undecided)

    def write_down(self) -> None:
        """Save what was set and played."""
        if self._saving is not None:
            self._saving.cancel()
            self._saving = None
        try:
            self._save(self._to_keep())
        except TonegenError as error:
            self._complain(str(error))

    def _tempered(self) -> Setting:
        if self._found is None:
            raise BadValue("there is nothing to keep; temper first")
        present = self._history.present
        return replace(present, moved=tempering.moved_to(self._found, self._along, present))

    def _kept(self, name: str) -> Setting:
        """Write the offsets down as the player's own temperament, which becomes the target."""
        for fault in self._faults:
            if fault.part in ("instrument", "temperament"):
                raise BadValue(f"offsets are kept once this is mended: {fault.error}")
        rig = self._rig
        points = dict.fromkeys([*rig.instrument.tuning_points(), *rig.moved])
        offsets = {point: rig.temperament.offset_cents(rig.instrument, point) for point in points}
        save_temperament(OwnTemperament(name.strip(), rig.instrument.name, offsets))
        self._presets_changed()
        return replace(self._history.present, temperament=name.strip(), root=None, moved=())

    def _kept_drop(self, name: str) -> Setting:
        """Write down the drop that the readings tell, which is used from now on."""
        self._meter.keep(self._rig, name.strip())
        self._presets_changed()
        return replace(self._history.present, drop=name.strip())

    def _presets_changed(self) -> None:
        """Show pages the new ones."""
        self._post("choices", choices(HEARING_CAUTION, version("tonegen")))

    # ------------------------------------------------------------------ tempering, order, keyboards

    def _temper(self, asked: asks.Temper | asks.Along | asks.ThrowAway) -> None:
        if isinstance(asked, asks.Temper):
            scene = tempering.scene_of(self._history.present, self._rig)
            self._work(self._solve(scene, self._history.present.objective))
            return
        if isinstance(asked, asks.ThrowAway):
            self._found = None
        elif self._found is not None:
            self._along = self._found.checked_place(asked.place)
        self._post("offer", tempering.offer_of(self._found, self._along))

    async def _solve(self, scene: Scene, objective: str) -> None:
        try:
            self._found = await asyncio.to_thread(tempering.solve, scene, objective)
        except TonegenError as error:
            self._complain(str(error))
            return
        self._along = -1
        self._post("offer", tempering.offer_of(self._found, self._along))

    async def _count(self, asked: asks.Tapped) -> None:
        try:
            interval = self._standing().interval(asked.low, asked.high)
            counted = await asyncio.to_thread(count_of, asked.low, asked.high, interval, asked.times_ms)
        except TonegenError as error:
            self._complain(str(error))
        else:
            self._post("count", counted)

    async def _show_devices(self) -> None:
        try:
            names = tuple(device.name for device in await self._stage.devices())
        except NoSuchDevice:
            names = ()
        self._post("devices", Devices(names, self._stage.device_name))

    def _order(self, asked: asks.Order | asks.Step) -> None:
        if isinstance(asked, asks.Order):
            self._work(self._make_plan(self._rig))
            return
        if self._plan is None or asked.at >= len(self._plan.steps):
            raise BadValue("there is no such step; make the plan first")
        listening = None
        if asked.at >= 0:
            listening = Listening(self._plan, self._rig.reference_hz, asked.at, asked.only)
        self._listening = listening
        self._play()
        self._post("order", self._plan_view())
        self._stir()

    async def _make_plan(self, rig: Rig) -> None:
        self._plan = await asyncio.to_thread(ordering.order_of, rig)
        self._plan_is_stale = False
        if self._listening is not None:
            self._listening = None
            self._play()
        self._post("order", self._plan_view())

    def _plan_view(self) -> ordering.Plan:
        return ordering.plan_of(self._plan, self._listening, self._plan_is_stale)

    def _tune_keyboards(
        self, asked: asks.Keys | asks.Receiver | asks.Send | asks.Through | asks.PutBack
    ) -> None:
        keyboards = self._with_keyboards()
        match asked:
            case asks.Keys():
                keyboards.look_for_ports()
            case asks.Receiver():
                keyboards.choose(asked.name, asked.policy, asked.follow)
                keyboards.follow(self._rig, self._playing)
            case asks.Send():
                keyboards.send(asked.where)
            case asks.Through():
                keyboards.pass_through(asked.port)
            case asks.PutBack():
                keyboards.put_back()
        self._post("keys", keyboards.view())

    def _with_keyboards(self) -> "Keyboards":
        if self._keyboards is None:
            from tonegen.page.keyboards import Keyboards

            self._keyboards = Keyboards(lambda shown: self._post("keys", shown), self._complain)
            self._keyboards.follow(self._rig, self._playing)
        return self._keyboards

    def plan_for_keys(self) -> "Plan":
        """What the receiver gets that is chosen for the keyboards, for the rig as it is at this moment.

        Raises BadValue where the rig allows none.
        """
        keyboards = self._with_keyboards()
        if self._following is not None:
            self._following.cancel()
            self._follow()
        return keyboards.plan()

    def _with_remote(self) -> "RemoteSwitch":
        if self._remote is None:
            from tonegen.page.remote import Remote, RemoteSwitch

            remote = Remote(asyncio.get_running_loop(), self.ask, self._standing)
            self._remote = RemoteSwitch(remote, lambda shown: self._post("remote", shown), self._complain)
        return self._remote

    def _train(self, asked: asks.AboutEars) -> None:
        if self._ears is None:
            from tonegen.page.ears import Ears

            self._ears = Ears(own_folder() / FILE_NAME, self._post, self._complain, self._play_trial)
        grip = self._grip_to_train(asked.grip) if isinstance(asked, asks.Train) else ()
        if isinstance(asked, _HEARD_AT_ONCE) and self._playing.muted:
            self._accept(self._standing().done(asks.Mute(False)))
        self._ears.ask(asked, grip, self._stage.player.sample_rate, self._playing.muted)

    async def answers_as_csv(self) -> str:
        """Every answer of the person at the trials. Raises a TonegenError when nobody is there."""
        if self._ears is None:
            raise BadValue("nobody answers yet; open the ears first")
        return await self._ears.as_csv()

    def _grip_to_train(self, name: str | None) -> tuple[SoundingTone, ...]:
        """The strings of a grip at the open strings, as they are tempered and drop; "" is the one set now."""
        if name is None:
            return ()
        playing = self._standing().done(asks.Grip(name)).playing if name else self._playing
        return tuple(tone for tone in self._rig.tones(replace(playing, fret=0.0)) if tone.string is not None)

    def _follow(self) -> None:
        """Let those follow that need not keep up with a drag."""
        self._following = None
        self._comparison.follow(self._history.present, self._rig)
        if self._keyboards is not None:
            self._keyboards.follow(self._rig, self._playing)
            self._post("keys", self._keyboards.view())

    def _work(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._working.add(task)
        task.add_done_callback(self._working.discard)

    # ------------------------------------------------------------------ sound

    def _play(self) -> None:
        """Sound what is wanted; while trials are asked the booth has the stage to itself."""
        trials = self._in_trials
        playing = replace(self._playing, sounding=True) if trials else self._playing
        self._stage.play(playing, () if trials else self._wanted_tones())

    @property
    def _in_trials(self) -> bool:
        return self._ears is not None and self._ears.asking

    def _play_trial(self, source: SourceAt | None) -> None:
        self._play()
        self._stage.play_in_booth(source)
        self._stir()

    def _wanted_tones(self) -> tuple[Tone, ...]:
        if self._listening is not None:
            return ordering.tones_of(self._listening, self._rig)
        if self._playing.two_tones:
            return pairing.tones_of(self._history.present, self._rig, self._playing)
        return _to_play(self._sounding, self._rig, self._playing)

    def present_sound(self) -> tuple[tuple[Tone, ...], float]:
        """The tones that sound, or would, and the level in dBFS that they stay under."""
        return self._wanted_tones(), self._playing.level_dbfs

    def hear_in_page(self, sample_rate: int, taken_away: Callable[[], None]) -> InPage:
        """Send the sound to a page's own loudspeaker. Raises BadValue for a sample rate that cannot be."""
        return self._stage.hear_in_page(sample_rate, taken_away)

    def no_longer_in_page(self, outlet: InPage) -> None:
        """The page that had the sound went away."""
        self._stage.no_longer_in_page(outlet)

    # ------------------------------------------------------------------ moments

    def moment(self) -> Moment:
        """What the clock shows now."""
        heard, names = self._sounding, None
        if self._listening is not None:
            heard, names = self._listening.sounding(), (ordering.LOW, ordering.HIGH)
        elif self._playing.two_tones:
            heard = pairing.sounding_of(self._history.present, self._rig)
            names = (pairing.LOW, pairing.HIGH)
        return moment_of(self._stage, heard.intervals if self._playing.sounding else (), names)

    def _stir(self) -> None:
        self._quick_until = asyncio.get_running_loop().time() + _SETTLED_SECONDS
        self._stirred.set()

    async def run(self) -> None:
        """Send moments while something sounds: quickly after a touch, else now and then."""
        loop = asyncio.get_running_loop()
        while True:
            quick = loop.time() < self._quick_until
            if not (quick or ((self._playing.sounding or self._in_trials) and self.pages)):
                self._stirred.clear()
                await self._stirred.wait()
                continue
            self._post("moment", self.moment())
            self._stirred.clear()
            if quick:
                await asyncio.sleep(_QUICK_SECONDS)
            else:
                await _either(self._stirred, _CALM_SECONDS)

    async def close(self) -> None:
        """Write everything down, and let the sound fade out."""
        if self._looking is not None:
            self._looking.cancel()
        if self._remote is not None:
            await self._remote.listen(None)
        async with self._writing:
            self.write_down()
        if self._keyboards is not None:
            await self._keyboards.close()
        if self._ears is not None:
            await self._ears.close()
        await self._stage.close()


async def _either(event: asyncio.Event, seconds: float) -> None:
    try:
        async with asyncio.timeout(seconds):
            await event.wait()
    except TimeoutError:
        pass


def _to_play(sounding: Sounding, rig: Rig, playing: Playing) -> tuple[Tone, ...]:
    """The tones for the player, each named by its string, so that it is known again in another grip."""
    from dataclasses import replace as replaced

    if not sounding.tones:
        return ()
    tones = tones_to_play(sounding, rig.timbre, split=playing.split)
    if playing.only is not None:
        for interval in sounding.intervals:
            if {pair_name(interval.low), pair_name(interval.high)} == set(playing.only):
                tones = beating_only(tones, [(*places(sounding, interval), interval.ratio)])
    return tuple(
        replaced(tone, name=str(pair_name(source)))
        for tone, source in zip(tones, sounding.tones, strict=True)
    )


def _with_tones_that_can_be(setting: Setting) -> tuple[Setting, tuple[str, ...]]:
    """The setting, its two free tones as at first where they cannot be read; and what to say of it."""
    rig, _ = rig_for(setting)
    try:
        pairing.sounding_of(setting, rig)
    except TonegenError as error:
        return replace(setting, two_tones=TwoTones()), (f"the two tones cannot be read: {error}",)
    return setting, ()


def _fitting_playing(playing: Playing, rig: Rig) -> tuple[Playing, Sounding]:
    """Hands and feet as they are, and what they sound; as far as they fit the instrument."""
    for fitting in (playing, replace(playing, travels={}), Playing()):
        with suppress(TonegenError):
            there = refitted(fitting, rig.instrument)
            return there, rig.sounding(there)
    raise AssertionError("an open string sounds on any instrument")
