"""Files that are written whole or not at all."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from tonegen.errors import CannotWrite


@contextmanager
def written_whole(path: Path, *, force: bool) -> Iterator[Path]:
    """A place beside `path` to write to, renamed to it when the block ends well, and removed otherwise.

    Where `path` is a link, the file that it leads to is replaced and the link stays.
    force : replace a file that exists. Raises CannotWrite for one without, and whatever the disk refuses.
    """
    if not force:
        refuse_what_exists(path)
    place = Path(os.path.realpath(path))
    beside = place.with_name(f".tonegen-{os.urandom(4).hex()}.part{place.suffix}")
    try:
        beside.touch(exist_ok=False)  # says why it cannot, which not every library does
        yield beside
        with beside.open("rb+") as file:
            os.fsync(file.fileno())  # a full disk may only say so now
        beside.replace(place)
    except OSError as error:
        reason = error.strerror or str(error)
        reason = reason[:1].lower() + reason[1:]
        raise CannotWrite(
            f"{path}: cannot be written: {reason}; nothing was kept, choose another place"
        ) from error
    finally:
        with suppress(OSError):  # renamed, or never made
            beside.unlink()


def refuse_what_exists(path: Path) -> None:
    """Raise CannotWrite where there is something already."""
    if path.exists():
        raise CannotWrite(f"{path}: exists already; give another name, or --force to replace it")
