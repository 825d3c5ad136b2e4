"""A recorded sound, read in blocks, so that two hours of it take no more memory than two seconds."""

from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Final, Self

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import BadValue
from tonegen.reading import refuse_no_file

if TYPE_CHECKING:
    pass

Array = NDArray[np.float64]

_BLOCK_FRAMES: Final = 1 << 16
LOWEST_RATE: Final = 8000


class Recording:
    """A WAV or FLAC file. Of several channels the loudest is heard: their sum may be silence.

    sample_rate, frames : of the file. peak : of all channels.
    """

    def __init__(self, path: Path) -> None:
        """Open the file and find its loudest channel. Raises BadValue, naming it, where it is no sound."""
        import soundfile

        refuse_no_file(path)
        try:
            self._file: soundfile.SoundFile = soundfile.SoundFile(path)
        except (soundfile.LibsndfileError, OSError) as error:
            reason = str(getattr(error, "error_string", error)).strip().rstrip(".").lower()
            raise BadValue(
                f"{path}: not a sound that can be read ({reason}); give a WAV or FLAC file"
            ) from None
        self.sample_rate: int = self._file.samplerate
        self.frames: int = self._file.frames
        try:
            if self.sample_rate < LOWEST_RATE:
                raise BadValue(f"{path}: {self.sample_rate} Hz is too low a rate; record at 44100 or more")
            powers, self.peak = np.zeros(self._file.channels), 0.0
            for block in self._all_channels():
                if not np.isfinite(block).all():
                    raise BadValue(f"{path}: there are numbers in it that are none; record it again")
                powers += np.sum(block**2, axis=0)
                self.peak = max(self.peak, float(np.abs(block).max()))
            self._channel = int(np.argmax(powers))
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> Self:
        """Itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the file."""
        self._file.close()

    def blocks(self) -> Iterator[Array]:
        """The loudest channel from its beginning, block by block; each of shape (frames,)."""
        for block in self._all_channels():
            yield block[:, self._channel]

    def part(self, first: int, end: int) -> Array:
        """Frames `first` to `end` of the loudest channel."""
        self._file.seek(first)
        return np.asarray(self._file.read(end - first, dtype="float64", always_2d=True)[:, self._channel])

    def _all_channels(self) -> Iterator[Array]:
        self._file.seek(0)
        while len(block := self._file.read(_BLOCK_FRAMES, dtype="float64", always_2d=True)):
            yield block
