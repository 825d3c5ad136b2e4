"""The clocks of sound cards that were measured, kept in the player's own folder."""

import tomllib
from pathlib import Path
from typing import Final

import msgspec

from tonegen.errors import BadPreset
from tonegen.listen.clock import CardClock
from tonegen.presets.files import own_folder
from tonegen.reading import read_whole
from tonegen.sound.device import Device
from tonegen.writing import written_whole

_FILE: Final = "clocks.toml"
_LARGEST_BYTES: Final = 1_000_000


class _Clock(msgspec.Struct, forbid_unknown_fields=True):
    ppm: float
    error_ppm: float


class _Clocks(msgspec.Struct, forbid_unknown_fields=True):
    device: dict[str, _Clock] = {}


def kept_clock(device: Device) -> CardClock | None:
    """The clock of a device; None where nobody measured it. Raises BadPreset for a file that is broken."""
    found = _read().device.get(_named(device))
    return None if found is None else CardClock(found.ppm, found.error_ppm)


def keep_clock(device: Device, clock: CardClock) -> Path:
    """Write it down for the next time. Raises BadPreset for a file that is broken, CannotWrite."""
    import tomlkit

    clocks = _read()
    clocks.device[_named(device)] = _Clock(round(clock.ppm, 3), round(clock.error_ppm, 3))
    path = own_folder() / _FILE
    path.parent.mkdir(parents=True, exist_ok=True)
    with written_whole(path, force=True) as beside:
        beside.write_text(tomlkit.dumps(msgspec.to_builtins(clocks)), encoding="utf-8")
    return path


def _named(device: Device) -> str:
    """Its number changes with what else is plugged in."""
    return f"{device.name} ({device.host})"


def _read() -> _Clocks:
    path = own_folder() / _FILE
    if not path.exists():
        return _Clocks()
    try:
        text = read_whole(path, _LARGEST_BYTES, "too large for a list of clocks").decode()
        return msgspec.convert(tomllib.loads(text), _Clocks)
    except (ValueError, msgspec.ValidationError) as error:
        raise BadPreset(f"{path}: {str(error).lower()}; mend it, or delete it and measure again") from None
