"""The file that outlives the program: what was set and played, written whole or not at all."""

from pathlib import Path
from typing import Final

import msgspec
from msgspec import Struct

from tonegen.errors import CannotWrite
from tonegen.page.setting import Playing, Setting
from tonegen.presets import own_folder
from tonegen.writing import written_whole

_NAME: Final = "page.json"
_LARGEST_BYTES: Final = 4_000_000


class Kept(Struct, frozen=True):
    """What is found again after a restart; `device` is the sound device that was chosen by name."""

    setting: Setting = Setting()
    playing: Playing = Playing()
    device: str | None = None


def kept_file() -> Path:
    """Where it is kept: the user's own folder."""
    return own_folder() / _NAME


def load(path: Path) -> Kept | None:
    """What was kept; None when there is nothing, or when it cannot be read: that file is put aside."""
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise ValueError
        return msgspec.json.decode(path.read_bytes(), type=Kept)
    except FileNotFoundError:
        return None
    except (OSError, ValueError, msgspec.MsgspecError, RecursionError):
        path.replace(path.with_suffix(".damaged"))
        return None


def save(path: Path, kept: Kept) -> None:
    """Keep it in its folder, which is made where there is none. Raises CannotWrite."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotWrite(f"{path}: cannot be written: {error.strerror}") from None
    with written_whole(path, force=True) as beside:
        beside.write_bytes(msgspec.json.encode(kept))
