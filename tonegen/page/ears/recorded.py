"""A partner's recording that a browser sent: the note in it; nothing of it is kept."""

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from tonegen.ear.partner import RecordingNote, note_of
from tonegen.errors import BadValue

LARGEST_RECORDING_BYTES: Final = 50_000_000


def recorded_note(data: bytes) -> RecordingNote:
    """The longest note of a WAV or FLAC file; takes a while, so call it in a thread.

    Raises BadValue for what is no sound, or has no note.
    """
    from tonegen.sound.recordings import Recording

    with TemporaryDirectory(prefix="tonegen-") as folder:
        path = Path(folder) / "partner"
        path.write_bytes(data)
        try:
            with Recording(path) as recording:
                return note_of(recording)
        except BadValue as wrong:
            raise BadValue(str(wrong).removeprefix(f"{path}: ")) from None
