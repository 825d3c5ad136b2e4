"""Files of the user's that are read whole."""

import stat
from pathlib import Path

from tonegen.errors import BadValue


def refuse_no_file(path: Path) -> None:
    """Raise BadValue for what is not there, or for a device or a pipe."""
    try:
        mode = path.stat().st_mode
    except OSError as error:
        raise BadValue(f"{path}: cannot be read: {(error.strerror or str(error)).lower()}") from None
    if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
        raise BadValue(f"{path}: is a device or a pipe; give a file")


def read_whole(path: Path, largest_bytes: int, too_large: str) -> bytes:
    """What a file holds. Raises BadValue, naming the file, for one that cannot be read or is larger.

    A device may never end, and a pipe that nobody writes to never begins: neither is a file.
    too_large : says so, such as "larger than a megabyte; that is not a list of readings"
    """
    refuse_no_file(path)
    try:
        with path.open("rb") as file:
            data = file.read(largest_bytes + 1)
    except OSError as error:
        raise BadValue(f"{path}: cannot be read: {(error.strerror or str(error)).lower()}") from None
    if len(data) > largest_bytes:
        raise BadValue(f"{path}: {too_large}")
    return data
