"""Files that are written whole or not at all, and what a program that was killed while it wrote left behind.

A file is written beside its place under a name that says so, and renamed. Whoever writes holds a lock on it
that ends with the program: one that nobody holds was left behind, and whoever writes into that folder next
removes it.
"""

import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from tonegen.errors import CannotWrite

if sys.platform != "win32":
    import fcntl

_BEGINNING: Final = ".tonegen-"
_PRIVATE: Final = 0o600


@contextmanager
def written_whole(path: Path, *, force: bool) -> Iterator[Path]:
    """A place beside `path` to write to, renamed to it when the block ends well, and removed otherwise.

    Where `path` is a link, the file that it leads to is replaced and the link stays; so does who may read it.
    force : replace a file that exists. Raises CannotWrite for one without, and whatever the disk refuses.
    """
    if not force:
        refuse_what_exists(path)
    place = Path(os.path.realpath(path))
    remove_left_over(place.parent)
    beside = place.with_name(f"{_BEGINNING}{os.urandom(4).hex()}.part{place.suffix}")
    held = None
    try:
        mode = stat.S_IMODE(place.stat().st_mode) if place.is_file() else None
        held = _made_and_held(beside, 0o666 if mode is None else _PRIVATE)  # says why it cannot be made
        yield beside
        with beside.open("rb+") as file:
            os.fsync(file.fileno())  # a full disk may only say so now
        if mode is not None:
            beside.chmod(mode)
        if sys.platform == "win32":
            os.close(held)
            held = None
        beside.replace(place)
    except OSError as error:
        reason = error.strerror or str(error)
        reason = reason[:1].lower() + reason[1:]
        raise CannotWrite(
            f"{path}: cannot be written: {reason}; nothing was saved; choose another place"
        ) from error
    finally:
        if held is not None:
            os.close(held)
            with suppress(OSError):  # renamed already
                beside.unlink()


def is_there(path: Path) -> bool:
    """Whether there is something; not where a name cannot be, or may not be looked at: writing says why."""
    try:
        return path.exists()
    except OSError:
        return False


def refuse_what_exists(path: Path) -> None:
    """Raise CannotWrite where there is something already."""
    if is_there(path):
        raise CannotWrite(f"{path}: already exists; give another name, or --force to replace it")


def remove_left_over(folder: Path) -> None:
    """Remove what killed programs left half written in a folder; never what is being written."""
    with suppress(OSError):  # where there is no such folder, or it may not be looked into, nothing is done
        for left in folder.glob(f"{_BEGINNING}*.part*"):
            with suppress(OSError), taken(left):
                left.unlink()


class HeldFolder:
    """A new temporary folder, held while this program lives; those that were left over are removed first.

    beginning : of its name, which nothing else may begin with
    """

    def __init__(self, beginning: str) -> None:
        """Make it. Raises CannotWrite."""
        within = Path(tempfile.gettempdir())
        with suppress(OSError):
            for left in within.glob(f"{beginning}*"):
                with suppress(OSError), taken(left):
                    shutil.rmtree(left, ignore_errors=True)
        try:
            self.path = Path(tempfile.mkdtemp(prefix=beginning))
            self._held = hold(self.path)
        except OSError as error:
            raise CannotWrite(f"{within}: cannot be written: {error.strerror}; make room there") from None

    def remove(self) -> None:
        """Remove it with all that is in it."""
        shutil.rmtree(self.path, ignore_errors=True)
        if self._held is not None:
            os.close(self._held)
            self._held = None


class HeldElsewhereError(Exception):
    """Another program holds it."""


def hold_alone(folder: Path) -> int | None:
    """Hold a folder for this program alone, until the descriptor is closed or the program ends.

    None on a disk or a system that does not know. Raises HeldElsewhereError.
    """
    if sys.platform == "win32":
        return None
    held = None
    try:
        held = os.open(folder, os.O_RDONLY)
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if held is not None:
            os.close(held)
        if isinstance(error, BlockingIOError):
            raise HeldElsewhereError from None
        return None
    return held


def _made_and_held(path: Path, mode: int) -> int:
    """A new file, held until its descriptor is closed. Raises OSError."""
    while True:
        made = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, mode)
        if sys.platform == "win32":  # which removes no file that is open
            return made
        with suppress(OSError):  # a disk without locks, on which nobody takes anything for left over
            fcntl.flock(made, fcntl.LOCK_SH)
        if os.fstat(made).st_nlink:
            return made
        os.close(made)  # it was taken for left over before it was held


def hold(path: Path) -> int | None:
    """Hold a file or folder until the descriptor is closed. Raises OSError where there is none."""
    if sys.platform == "win32":
        return None
    held = os.open(path, os.O_RDONLY)
    with suppress(OSError):
        fcntl.flock(held, fcntl.LOCK_SH)
    return held


@contextmanager
def taken(left: Path) -> Iterator[None]:
    """Hold what nobody holds. Raises OSError for what is held, or not this user's."""
    if sys.platform == "win32":
        left.rename(left)  # which it refuses for what is open
        yield
        return
    taken = os.open(left, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    try:
        fcntl.flock(taken, fcntl.LOCK_EX | fcntl.LOCK_NB)
        about = os.fstat(taken)
        if not about.st_nlink:  # another took it before, and its name may have another file by now
            raise FileNotFoundError
        if about.st_uid != os.getuid() or not (stat.S_ISREG(about.st_mode) or stat.S_ISDIR(about.st_mode)):
            raise PermissionError
        yield
    finally:
        os.close(taken)
