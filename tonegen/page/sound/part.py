"""The part of the page that turns sound on and off, sets its level, and says where it goes."""

from typing import ClassVar

from msgspec import Struct

from tonegen.errors import NoSuchDevice
from tonegen.page.asked import Asked
from tonegen.page.part import Act, Change, Done, Part, Standing
from tonegen.page.sound import asks
from tonegen.synthesis.player import checked_level_dbfs


class Devices(Struct, tag="devices", frozen=True):
    """The sound devices of the machine, and the one that was chosen by name."""

    names: tuple[str, ...]
    chosen: str | None


def sound(asked: asks.Sound, at: Standing) -> Done:
    """Begin or end the sound, not muted any more; when it ends the two free tones end with it."""
    heard = {} if asked.on else {"two_tones": False, "two_tones_only": False}
    return at.plays(sounding=asked.on, muted=False, **heard)


def mute(asked: asks.Mute, at: Standing) -> Done:
    """Fall silent at once, or be heard again."""
    return at.plays(muted=asked.on)


def level(asked: asks.Level, at: Standing) -> Done:
    """Set what all tones together stay under."""
    return at.plays(level_dbfs=checked_level_dbfs(asked.dbfs))


def split(asked: asks.Split, at: Standing) -> Done:
    """The lowest tone in the left ear, or all in both."""
    return at.plays(split=asked.on)


class SoundPart(Part):
    """Sound, mute, level, ears, device."""

    changes: ClassVar[dict[type[Asked], Change]] = {
        asks.Sound: sound,
        asks.Mute: mute,
        asks.Level: level,
        asks.Split: split,
    }

    def _choose_device(self, asked: asks.Device) -> None:
        self.host.stage.choose_device(asked.name)

    def _show_devices(self, asked: asks.Devices) -> None:
        self.host.work(self._look_for_devices())

    async def _look_for_devices(self) -> None:
        stage = self.host.stage
        try:
            names = tuple(device.name for device in await stage.devices(again=True))
        except NoSuchDevice:
            names = ()
        self.host.post(Devices(names, stage.device_name))

    acts: ClassVar[dict[type[Asked], Act]] = {asks.Device: _choose_device, asks.Devices: _show_devices}
