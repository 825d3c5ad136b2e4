"""The part of the page that turns sound on and off, sets its level, and says where it goes."""

from collections.abc import Iterable
from typing import ClassVar

from msgspec import Struct

from tonegen.ear.comfort import steady
from tonegen.errors import NoSuchDevice
from tonegen.page.asked import Asked
from tonegen.page.part import Act, Change, Done, Host, Part, Standing
from tonegen.page.sound import asks
from tonegen.synthesis.player import checked_level_dbfs


class DevicesView(Struct, tag="devices", frozen=True):
    """The sound devices of the machine, and the one that was chosen by name."""

    names: tuple[str, ...]
    chosen: str | None


class Volume(Struct, tag="volume", frozen=True):
    """Whether the steady tone sounds, and whether the volume was set since the program began."""

    steady: bool
    is_set: bool


def sound(asked: asks.TurnSound, at: Standing) -> Done:
    """Begin or end the sound, not muted any more; when it ends the two free tones end with it."""
    heard = {} if asked.on else {"two_tones": False, "two_tones_only": False}
    return at.plays(sounding=asked.on, muted=False, **heard)


def mute(asked: asks.Mute, at: Standing) -> Done:
    """Fall silent at once, or be heard again."""
    return at.plays(muted=asked.on)


def level(asked: asks.Level, at: Standing) -> Done:
    """Set what all tones together stay under."""
    return at.plays(level_dbfs=checked_level_dbfs(asked.dbfs))


def split(asked: asks.SplitEars, at: Standing) -> Done:
    """The lowest tone in the left ear, or all in both."""
    return at.plays(split=asked.on)


class SoundPart(Part):
    """Sound, mute, level and the steady tone to set it by, ears, device."""

    changes: ClassVar[dict[type[Asked], Change]] = {
        asks.TurnSound: sound,
        asks.Mute: mute,
        asks.Level: level,
        asks.SplitEars: split,
    }

    def __init__(self, host: Host) -> None:
        """Nobody has set the volume."""
        super().__init__(host)
        self._volume = Volume(steady=False, is_set=False)
        self._level_dbfs = host.at.playing.level_dbfs

    def shown(self) -> Iterable[Struct]:
        """Whether the volume was set."""
        return (self._volume,)

    def follow(self, at: Standing) -> None:
        """Whoever moves the level has set the volume."""
        if at.playing.level_dbfs != self._level_dbfs:
            self._level_dbfs = at.playing.level_dbfs
            self._show(self._volume.steady, is_set=True)

    @property
    def asks_alone(self) -> bool:
        """Whether the steady tone sounds, in the booth as trials do."""
        return self._volume.steady

    def hush(self) -> None:
        """The steady tone ends by a mute."""
        self._hear_steady(asks.Steady(False))

    def leave_alone(self) -> None:
        """Nobody is left to set the volume."""
        self._hear_steady(asks.Steady(False))

    def _hear_steady(self, asked: asks.Steady) -> None:
        """Whoever asks for it wants to hear it: it ends a mute."""
        host, before = self.host, self._volume
        if asked.on and host.at.playing.muted:
            host.accept(mute(asks.Mute(False), host.at))
        self._show(asked.on, before.is_set or asked.comfortable)
        if asked.on != before.steady:
            host.sound_anew()
            host.stage.play_in_booth(steady if asked.on else None)

    def _show(self, sounds: bool, is_set: bool) -> None:
        before, self._volume = self._volume, Volume(sounds, is_set)
        if self._volume != before:
            self.host.post(self._volume)

    def _choose_device(self, asked: asks.ChooseDevice) -> None:
        self.host.stage.choose_device(asked.name)

    def _show_devices(self, asked: asks.ShowDevices) -> None:
        self.host.work(self._look_for_devices())

    async def _look_for_devices(self) -> None:
        stage = self.host.stage
        try:
            names = tuple(device.name for device in await stage.devices(again=True))
        except NoSuchDevice:
            names = ()
        self.host.post(DevicesView(names, stage.device_name))

    acts: ClassVar[dict[type[Asked], Act]] = {
        asks.Steady: _hear_steady,
        asks.ChooseDevice: _choose_device,
        asks.ShowDevices: _show_devices,
    }
