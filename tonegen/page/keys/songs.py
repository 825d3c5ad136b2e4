"""A MIDI file retuned for the receiver that the keyboards have: bytes in, bytes out, nothing is kept."""

from typing import TYPE_CHECKING, Final
from urllib.parse import quote

from starlette.responses import Response

if TYPE_CHECKING:
    from tonegen.keys.plan import Plan

LARGEST_SONG_BYTES: Final = 20_000_000
TOLD: Final = "Tonegen-Told"


class RetunedSong(Response):
    """The file, and in the header `TOLD` what there is to say about it: percent-encoded lines."""

    media_type = "audio/midi"

    def __init__(self, data: bytes, told: tuple[str, ...], headers: dict[str, str]) -> None:
        """A file that the browser keeps rather than opens."""
        kept = {"Content-Disposition": 'attachment; filename="retuned.mid"', TOLD: quote("\n".join(told))}
        super().__init__(data, headers={**headers, **kept})


def retuned_song(data: bytes, made: "Plan", headers: dict[str, str]) -> RetunedSong:
    """Retune a Standard MIDI File; takes a while, so call it in a thread.

    Raises BadValue for what is none, or for a receiver that is not sent MIDI.
    """
    from tonegen.keys.files import retune

    retuned = retune(data, made)
    receiver = made.receiver
    return RetunedSong(retuned.data, (retuned.words, *receiver.asks, *retuned.cautions(receiver)), headers)
