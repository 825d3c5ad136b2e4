"""What is tuned, written down before the first byte goes out.

Each receiver that is tuned has a file of its own in the player's folder, held by the program and its guard as
long as they live, and removed once it is put back. One that nobody holds was left by a program that was
killed together with its guard; see `left`.
"""

import json
import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from tonegen.errors import CannotWrite
from tonegen.presets import own_folder
from tonegen.writing import hold, written_whole

_FOLDER: Final = "tuned"


@dataclass(frozen=True, slots=True)
class KeptUndo:
    """What puts a receiver back: where it is (see `guard.open_door`), what it is sent, and how fast."""

    where: str
    messages: tuple[bytes, ...]
    sysex_seconds: float

    def as_json(self, **more: str) -> bytes:
        """For the file and for the guard, with more beside it."""
        content = {
            "where": self.where,
            "undo": [message.hex() for message in self.messages],
            "sysex_seconds": self.sysex_seconds,
        }
        return json.dumps({**content, **more}).encode()

    @classmethod
    def of(cls, content: dict[str, Any]) -> "KeptUndo":
        """The same, read back. Raises KeyError, TypeError or ValueError for anything else."""
        messages = tuple(bytes.fromhex(message) for message in content["undo"])
        return cls(str(content["where"]), messages, float(content["sysex_seconds"]))


class Entry:
    """One receiver's file, held while this lives."""

    def __init__(self, path: Path) -> None:
        """Hold a file that is there. Raises OSError."""
        self.path = path
        self._held = hold(path)

    @classmethod
    def of(cls, undo: KeptUndo) -> "Entry | None":
        """Written now; None where the disk takes nothing: the guard alone is no reason not to play."""
        path = own_folder() / _FOLDER / f"{os.urandom(8).hex()}.json"
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with written_whole(path, force=False) as beside:
                beside.write_bytes(undo.as_json())
                entry = cls(beside)
        except (CannotWrite, OSError):
            return None
        entry.path = path
        return entry

    def remove(self) -> None:
        """It is put back, or is to stay as it is."""
        with suppress(OSError):
            self.path.unlink()
        self.let_go()

    def let_go(self) -> None:
        """Hold it no more; where nobody else does, it was left."""
        if self._held is not None:
            os.close(self._held)
            self._held = None


def left() -> tuple[Path, ...]:
    """The files that are there: of receivers that are tuned now, and of those that were left so."""
    return tuple(sorted((own_folder() / _FOLDER).glob("*.json")))


def read(path: Path) -> KeptUndo | None:
    """What a file says; None for one that says nothing. Raises OSError."""
    try:
        return KeptUndo.of(json.loads(path.read_bytes()))
    except (ValueError, KeyError, TypeError):
        return None
