"""Dated copies of what a player has: of each evening's page, and of presets as they were last read well.

They lie in a folder of their own, `earlier`, as NAME.DATE.ENDING. The newest of each name stay; what was set
aside because it was damaged stays for good.
"""

import re
import shutil
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Final

from tonegen.errors import CannotWrite
from tonegen.presets import own_folder
from tonegen.writing import written_whole

_MOST_OF_A_NAME: Final = 30


def earlier(kind: str = "") -> Path:
    """The folder of copies, or that of a kind of preset in it."""
    return own_folder() / "earlier" / kind


def stamp() -> str:
    """This moment, as names of copies have it."""
    return f"{datetime.now():%Y-%m-%d-%H%M%S}"


def copies_of(name: str, folder: Path, ending: str) -> tuple[Path, ...]:
    """The copies under a name, the newest first."""
    dated = re.compile(rf"{re.escape(name)}\.\d{{4}}-\d\d-\d\d-\d{{6}}(-\d+)?{re.escape(ending)}")
    found: list[Path] = []
    with suppress(OSError):
        found = [file for file in folder.iterdir() if dated.fullmatch(file.name) and file.is_file()]
    return tuple(sorted(found, key=lambda file: file.name, reverse=True))


def keep_copy(file: Path, folder: Path, *, name: str | None = None, for_good: bool = False) -> Path:
    """Copy a file to a name with today's date, unless its newest copy is the same; give the copy.

    The oldest copies beyond thirty go, unless they are kept `for_good`. Raises CannotWrite.
    """
    try:
        name = file.stem if name is None else name
        data = file.read_bytes()
        there = copies_of(name, folder, file.suffix)
        for copy in there if for_good else there[:1]:
            with suppress(OSError):
                if copy.read_bytes() == data:
                    return copy
        folder.mkdir(parents=True, exist_ok=True)
        copy = next(place for place in _places(name, folder, file.suffix) if not place.exists())
        with written_whole(copy, force=False) as beside:
            beside.write_bytes(data)
            shutil.copymode(file, beside)
            beside.chmod(beside.stat().st_mode | 0o200)
    except OSError as error:
        raise CannotWrite(f"{file}: cannot be copied to {folder}: {error.strerror}") from None
    if not for_good:
        drop_oldest(name, folder, file.suffix)
    return copy


def claim_place(name: str, folder: Path, ending: str) -> Path:
    """A place for a copy of this moment, claimed by an empty file, so that no other program takes it too.

    Raises OSError.
    """
    folder.mkdir(parents=True, exist_ok=True)
    return next(place for place in _places(name, folder, ending) if _claimed(place))


def drop_oldest(name: str, folder: Path, ending: str) -> None:
    """Remove the oldest copies of a name beyond thirty."""
    for old in copies_of(name, folder, ending)[_MOST_OF_A_NAME:]:
        with suppress(OSError):
            old.unlink()


def _places(name: str, folder: Path, ending: str) -> Iterator[Path]:
    now, again = stamp(), 1
    yield folder / f"{name}.{now}{ending}"
    while True:
        again += 1
        yield folder / f"{name}.{now}-{again}{ending}"


def _claimed(place: Path) -> bool:
    try:
        place.touch(exist_ok=False)
    except FileExistsError:
        return False
    return True
