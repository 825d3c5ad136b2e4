"""The part of the page that takes readings of a meter, and says what the cabinet gives."""

from collections.abc import Iterable
from typing import ClassVar

from msgspec import Struct

from tonegen.errors import BadValue
from tonegen.page.asked import Asked
from tonegen.page.drop import asks
from tonegen.page.drop.metering import MeterFit, in_words, with_list, with_reading, without
from tonegen.page.part import Act, Change, Done, Host, Part, Standing
from tonegen.page.setting import MeterReading


def read(asked: asks.Read, at: Standing) -> Done:
    """Note what the meter shows with the changes as they stand."""
    state = at.rig.state(at.playing.travels)
    for name, travel in state.travels.items():
        if 0 < travel < 1:
            raise BadValue(f"{name} is half-way; take readings at its stop or at rest")
    changes = tuple(name for name, travel in state.travels.items() if travel)
    reading = MeterReading(
        asked.string, changes, asked.unit, asked.value, asked.against, asked.ratio, asked.seconds, asked.side
    )
    return Done(with_reading(at.setting, at.rig, reading), at.playing, f"read {in_words(reading)}")


def read_list(asked: asks.ReadList, at: Standing) -> Done:
    """Note every reading of a list."""
    return Done(with_list(at.setting, at.rig, asked.text), at.playing, "a list of readings")


def unread(asked: asks.Unread, at: Standing) -> Done:
    """Take a reading away, or all of them."""
    setting, words = without(at.setting, asked.at)
    many = asked.at is None and len(at.setting.readings) > 1
    said = "All readings are removed. Undo brings them back." if many else ""
    return Done(setting, at.playing, words, said=said)


def meter(asked: asks.TrustMeter, at: Standing) -> Done:
    """Say how good the meter is."""
    return at.sets(f"meter accurate to {asked.cents:g} cents", meter_cents=asked.cents)


class DropPart(Part):
    """Readings are part of the setting; what they tell follows them."""

    changes: ClassVar[dict[type[Asked], Change]] = {
        asks.Read: read,
        asks.ReadList: read_list,
        asks.Unread: unread,
        asks.TrustMeter: meter,
    }

    def __init__(self, host: Host) -> None:
        """Nothing is fitted yet."""
        super().__init__(host)
        self._meter = MeterFit(host.post)

    def shown(self) -> Iterable[Struct]:
        """The readings, and what they tell so far."""
        at = self.host.at
        self._meter.follow(at.setting, at.rig)
        return (self._meter.view(),)

    def follow(self, at: Standing) -> None:
        """Fit again where readings changed, or mean something else now."""
        self._meter.follow(at.setting, at.rig)

    def _keep(self, asked: asks.KeepDrop) -> None:
        """Write down the drop that the readings tell, which is used from now on."""
        at, name = self.host.at, asked.name.strip()
        gone = self._meter.keep(name)
        self.host.show_presets()
        lost = [f"gone: {each.taken_back}" for each in gone]
        words = "; ".join([f"drop saved as {name} (its file stays)", *lost])
        said = " ".join([f"Saved as {name}. In use.", *(f"{each.capitalize()}." for each in lost)])
        self.host.accept(at.sets(words, said=said, drop=name), presets_changed=True)

    acts: ClassVar[dict[type[Asked], Act]] = {asks.KeepDrop: _keep}
