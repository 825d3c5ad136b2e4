"""Files that are written whole or not at all."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import mkstemp

from tonegen.errors import CannotWrite


@contextmanager
def written_whole(path: Path, *, force: bool) -> Iterator[Path]:
    """A place beside `path` to write to, renamed to it when the block ends well, and removed otherwise.

    force : replace a file that exists. Raises CannotWrite for one without, and whatever the disk refuses.
    """
    if not force and path.exists():
        raise CannotWrite(f"{path}: exists already; give another name, or --force to replace it")
    beside: Path | None = None
    try:
        handle, name = mkstemp(dir=path.parent, prefix=f".{path.stem}-", suffix=f".part{path.suffix}")
        os.close(handle)
        beside = Path(name)
        yield beside
        with beside.open("rb") as file:
            os.fsync(file.fileno())
        beside.chmod(0o644)
        beside.replace(path)
    except OSError as error:
        raise CannotWrite(f"{path}: cannot be written: {error.strerror}; choose another place") from None
    finally:
        if beside is not None:
            beside.unlink(missing_ok=True)
