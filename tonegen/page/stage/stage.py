"""The engine's sound: one player at a time, the outlet that draws from it, and what is heard of it when.

Everything here runs in the event loop, but for the thread of a device, which only pulls blocks.
"""

import asyncio
from collections.abc import Callable
from typing import Final

from tonegen.ear.rendering import Source
from tonegen.errors import NoSuchDevice
from tonegen.page.setting import Playing
from tonegen.page.stage.outlet import (
    NOWHERE,
    OPENING,
    HeardFrame,
    InPage,
    MeteredPlayer,
    Nowhere,
    OnDevice,
    Outlet,
)
from tonegen.sound.device import Device, choose, look_again, output_devices
from tonegen.synthesis.player import FADE_SECONDS, RAMP_SECONDS
from tonegen.synthesis.timbre import Tone

_SAMPLE_RATE: Final = 48_000
_DEVICE_RESTS_AFTER_SECONDS: Final = 20.0
_CLOSING_SECONDS: Final = 2.0


# Gives a source for a sample rate: where the sound goes is known late, and can change.
SourceAt = Callable[[int], Source]


class Stage:
    """Sounds what is played, wherever it is heard.

    changed : called when the sound moved elsewhere; complain : takes a line for a person
    device_name : None for the machine's default; block_frames : 0 lets the device choose
    """

    def __init__(
        self,
        playing: Playing,
        device_name: str | None,
        block_frames: int,
        changed: Callable[[], None],
        complain: Callable[[str], None],
    ) -> None:
        """Silent."""
        self.device_name = device_name
        self.stream = 0  # counts the outlets: frames of two of them cannot be compared
        self.player = MeteredPlayer(_SAMPLE_RATE, level_dbfs=playing.level_dbfs)
        self._playing = playing
        self._tones: tuple[Tone, ...] = ()
        self._source: SourceAt | None = None
        self._block_frames = block_frames
        self._changed = changed
        self._complain = complain
        self._outlet: Outlet | None = None
        self._devices: tuple[Device, ...] | None = None
        self._looking = asyncio.Lock()
        self._lost_one = False
        self._sounded_seconds = 0.0
        self._resting: asyncio.TimerHandle | None = None
        self._opening: asyncio.Task[None] | None = None

    @property
    def words(self) -> str:
        """Where the sound goes; empty when nothing draws it."""
        return self._outlet.words if self._outlet else ""

    @property
    def sounded_seconds(self) -> float:
        """How long something has sounded so far, wherever it was heard."""
        return self._sounded_seconds + self.player.sounded_frames / self.player.sample_rate

    def sounding_hz(self) -> tuple[float, ...]:
        """Every partial that sounds, so that it can be told from what is heard beside it."""
        return tuple(
            float(hz)
            for tone in (self._tones if self._playing.sounding and not self._playing.muted else ())
            for hz in (tone.partial_multiples() * tone.hz)[tone.heard_levels() > 0]
        )

    def heard(self) -> HeardFrame | None:
        """Which frame is heard when; None when nothing draws the sound."""
        return self._outlet.heard() if self._outlet else None

    def play(self, playing: Playing, tones: tuple[Tone, ...]) -> None:
        """Follow what is played; `tones` are those that should sound if it does."""
        before, self._playing = self._playing, playing
        tones = tones if playing.sounding else ()
        if (tones, playing.sounding, playing.muted, playing.level_dbfs) == (
            self._tones, before.sounding, before.muted, before.level_dbfs,
        ):  # fmt: skip
            return
        if self._outlet is not None:
            self._outlet.will_change()
        if playing.level_dbfs != before.level_dbfs:
            self.player.level(playing.level_dbfs)
        if playing.muted != before.muted:
            self.player.mute(playing.muted, ramp_seconds=RAMP_SECONDS if playing.muted else FADE_SECONDS)
        if playing.sounding and not before.sounding:
            self._begin(tones)
        elif before.sounding and not playing.sounding:
            self.player.stop()
            self._rest_later()
        elif playing.sounding and tones != self._tones:
            if [_but_for_hz(tone) for tone in tones] == [_but_for_hz(tone) for tone in self._tones]:
                self.player.glide({tone.name: tone.hz for tone in tones}, RAMP_SECONDS)
            else:
                self.player.set(tones, glide_seconds=RAMP_SECONDS, ramp_seconds=RAMP_SECONDS)
        self._tones = tones

    def play_in_booth(self, source: SourceAt | None) -> None:
        """Play a source in the booth, from its beginning wherever the sound goes next; None is silence."""
        self._source = source
        if self._outlet is not None:
            self._outlet.will_change()
        self.player.booth.play(source(self.player.sample_rate) if source else None)

    def _begin(self, tones: tuple[Tone, ...]) -> None:
        if self._resting is not None:
            self._resting.cancel()
            self._resting = None
        self.player.set(tones, ramp_seconds=FADE_SECONDS)
        if self._outlet is None:
            self._to(Nowhere(self.player, OPENING))
            self._opening = asyncio.get_running_loop().create_task(self._open_device())

    def _fresh_player(self, sample_rate: int, channels: int = 2) -> MeteredPlayer:
        """A player that sounds the same; each outlet has its own, and the one before fades out by itself."""
        player = MeteredPlayer(sample_rate, channels, self._playing.level_dbfs)
        if self._playing.muted:
            player.mute(True)
        if self._playing.sounding:
            player.set(self._tones, ramp_seconds=FADE_SECONDS)
        if self._source is not None:
            player.booth.play(self._source(player.sample_rate))
        return player

    def _to(self, outlet: Outlet, player: MeteredPlayer | None = None) -> None:
        if self._outlet is not None:
            self._outlet.close()
        if player is not None:
            self._sounded_seconds = self.sounded_seconds
            self.player = player
        self._outlet = outlet
        self.stream += 1

    def _go_nowhere(self, words: str) -> None:
        player = self._fresh_player(_SAMPLE_RATE)
        self._to(Nowhere(player, words), player)

    async def _open_device(self) -> None:
        """Send the sound to the machine's device; where there is none it goes on unheard."""
        try:
            device = await self._chosen_device()
        except NoSuchDevice as missing:
            if isinstance(self._outlet, Nowhere):
                self._outlet.words = NOWHERE
            if self.device_name is not None:
                self._complain(str(missing))
            self._changed()
            return
        if not isinstance(self._outlet, Nowhere) or not self._playing.sounding:
            return
        player = self._fresh_player(device.sample_rate, min(device.channels, 2))
        ended = self._device_ended(player)
        self._to(OnDevice(player, device, self._block_frames, self._changed, ended), player)

    def _device_ended(self, player: MeteredPlayer) -> Callable[[str], None]:
        def ended(reason: str) -> None:
            self._lost_one = self._lost_one or bool(reason)
            if self.player is not player:
                return
            self._outlet = None
            if self._playing.sounding:
                self._go_nowhere(NOWHERE)
            if reason:
                self._complain(reason)
            self._changed()

        return ended

    async def _chosen_device(self) -> Device:
        """The device that was asked for, which may have been plugged in since the last look."""
        looked_before = self._devices is not None
        try:
            return choose(self.device_name, await self.devices())
        except NoSuchDevice:
            if not looked_before:
                raise
        return choose(self.device_name, await self.devices(again=True))

    async def devices(self, again: bool = False) -> tuple[Device, ...]:
        """The machine's sound devices, without holding up the pages; `again` looks what was plugged in since.

        While one of them plays they stay as they are.
        """
        async with self._looking:
            again = (again or self._lost_one) and not isinstance(self._outlet, OnDevice)
            if self._devices is not None and again:
                self._lost_one = False
                await asyncio.to_thread(look_again)
                self._devices = None
            if self._devices is None:
                self._devices = await asyncio.to_thread(output_devices)
        return self._devices

    def choose_device(self, name: str | None) -> None:
        """Send the sound to another device of the machine."""
        self.device_name = name
        if self._playing.sounding and not isinstance(self._outlet, Nowhere):
            self._go_nowhere(OPENING)
        if self._playing.sounding:
            self._opening = asyncio.get_running_loop().create_task(self._open_device())
        self._changed()

    def _rest_later(self) -> None:
        """Close a device, and stop drawing blocks that nobody hears, once it has been silent for a while."""
        loop = asyncio.get_running_loop()
        seconds = FADE_SECONDS if isinstance(self._outlet, Nowhere) else _DEVICE_RESTS_AFTER_SECONDS
        self._resting = loop.call_later(seconds, self._rest)

    def _rest(self) -> None:
        self._resting = None
        if self._outlet is not None and not isinstance(self._outlet, InPage):
            self._outlet.close()
            self._outlet = None
            self._changed()

    def hear_in_page(self, sample_rate: int, taken_away: Callable[[], None]) -> InPage:
        """Send the sound to a page's own loudspeaker. Raises BadValue for a sample rate that cannot be."""
        player = self._fresh_player(sample_rate)
        outlet = InPage(player, taken_away)
        self._to(outlet, player)
        self._changed()
        return outlet

    def no_longer_in_page(self, outlet: InPage) -> None:
        """The page that had the sound went away: back to the device, if it was not taken elsewhere."""
        if self._outlet is not outlet:
            return
        self._outlet = None
        if self._playing.sounding:
            self._go_nowhere(OPENING)
            self._opening = asyncio.get_running_loop().create_task(self._open_device())
        self._changed()

    async def close(self) -> None:
        """Let the sound fade out, and wait until a device is closed."""
        if self._outlet is not None:
            self._outlet.close()
            if isinstance(self._outlet, OnDevice):
                await asyncio.to_thread(self._outlet.wait, _CLOSING_SECONDS)


def _but_for_hz(tone: Tone) -> tuple[object, ...]:
    """Everything about a tone but its frequency: where that is the same, it can glide."""
    return (tone.name, tone.timbre, tone.level, tone.place, tone.stiffness, tone.only)
