"""What a visitor in the network must bring: kept, so that open tablets come back after a restart."""

import os
import re
import secrets
import stat
from contextlib import suppress
from pathlib import Path
from typing import Final

from tonegen.errors import CannotWrite
from tonegen.presets import own_folder

_NAME: Final = "lan-token"
_PRIVATE: Final = 0o600
_TOKEN: Final = re.compile(rb"[A-Za-z0-9_-]{22,64}")


def token_file() -> Path:
    """Where it is kept: the user's own folder."""
    return own_folder() / _NAME


def kept_token(path: Path) -> str:
    """The token of a file that only its owner may read; a new one where there is none.

    One that others could read is not used any more. Raises CannotWrite.
    """
    with suppress(OSError):
        found = path.lstat()
        if stat.S_ISREG(found.st_mode) and (os.name == "nt" or not stat.S_IMODE(found.st_mode) & 0o077):
            kept = path.read_bytes() if found.st_size < 100 else b""
            if _TOKEN.fullmatch(kept):
                return kept.decode()
    token = secrets.token_urlsafe(16)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)  # whoever has it open keeps the old one
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _PRIVATE), "w") as file:
            file.write(token)
    except OSError as error:
        raise CannotWrite(f"{path}: cannot be written: {error.strerror}; the link is kept there") from None
    return token
