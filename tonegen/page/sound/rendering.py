"""The present sound as a file, written aside and gone once it has been sent.

Nothing that is asked names a place: the file lies in a folder of its own that no path of the server reaches.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Final, Literal

from msgspec import Meta, Struct
from starlette.responses import FileResponse
from starlette.types import Receive, Scope, Send

from tonegen.errors import BadValue, TonegenError
from tonegen.synthesis.bank import FILE_COLUMNS
from tonegen.synthesis.player import Player
from tonegen.synthesis.timbre import Tone
from tonegen.writing import HeldFolder

LONGEST_SECONDS: Final = 600.0
_FOLDERS: Final = "tonegen-sound-"


class Render(Struct, forbid_unknown_fields=True, frozen=True):
    """What is asked: seconds, fades included; 16 or 24 bits, or 32-bit float (WAV)."""

    seconds: Annotated[float, Meta(ge=0.1, le=LONGEST_SECONDS)]
    kind: Literal["wav", "flac"]
    bits: Literal["16", "24", "float"] = "24"
    sample_rate: Literal[44_100, 48_000, 88_200, 96_000, 192_000] = 48_000


class Written(FileResponse):
    """Sends a file, and removes the folder that it lies in, whether all of it arrived or not."""

    def __init__(self, folder: HeldFolder, path: Path, headers: dict[str, str]) -> None:
        """Take over the folder."""
        super().__init__(path, headers=headers, media_type=f"audio/{path.suffix[1:]}", filename=path.name)
        self._folder = folder

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send it."""
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._folder.remove()


def rendered(asked: Render, tones: Sequence[Tone], level_dbfs: float, headers: dict[str, str]) -> Written:
    """Write the tones to a file and answer with it; takes a while, so call it in a thread.

    Raises BadValue when nothing would sound, or for FLAC of floats; CannotWrite when the disk is full.
    """
    from tonegen.sound.files import SampleFormat, write

    if not tones:
        raise BadValue("nothing would sound; tap the strings first")
    player = Player(asked.sample_rate, level_dbfs=level_dbfs, columns=FILE_COLUMNS)
    player.set(tones)
    folder = HeldFolder(_FOLDERS)
    path = folder.path / f"tonegen.{asked.kind}"
    try:
        write(path, player, asked.seconds, sample_format=SampleFormat(asked.bits))
    except TonegenError as error:  # of which a page need not know where it lay
        folder.remove()
        raise type(error)(str(error).replace(f"{path}: ", "")) from None
    return Written(folder, path, headers)
