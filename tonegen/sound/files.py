"""A player's sound as a WAV or FLAC file, streamed.

Whatever goes wrong, nothing half written is left and an existing file is what it was.
"""

import shutil
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import BadValue, CannotWrite
from tonegen.synthesis.player import FADE_SECONDS, Player
from tonegen.writing import refuse_what_exists, remove_left_over, written_whole

if TYPE_CHECKING:
    import soundfile

SHORTEST_FILE_SECONDS: Final = 0.1
LONGEST_FILE_SECONDS: Final = 24 * 3600.0
_LARGEST_WAV_BYTES: Final = 2**32 - 4096  # RIFF counts its bytes in 32 bits; the headers are well below 4096
_FULL_DISK_BYTES: Final = 1_000_000
_BLOCK_FRAMES: Final = 1 << 17


class SampleFormat(StrEnum):
    """How a sample is stored."""

    PCM_16 = "16"
    PCM_24 = "24"
    FLOAT_32 = "float"

    @property
    def bytes_per_sample(self) -> int:
        """Bytes of one sample of one channel, before FLAC makes it smaller."""
        return {SampleFormat.PCM_16: 2, SampleFormat.PCM_24: 3, SampleFormat.FLOAT_32: 4}[self]


_CONTAINERS: Final = {".wav": "WAV", ".flac": "FLAC"}
_SUBTYPES: Final = {
    SampleFormat.PCM_16: "PCM_16",
    SampleFormat.PCM_24: "PCM_24",
    SampleFormat.FLOAT_32: "FLOAT",
}


def write(
    path: Path,
    player: Player,
    seconds: float,
    *,
    sample_format: SampleFormat = SampleFormat.PCM_24,
    force: bool = False,
    fade_out_seconds: float = FADE_SECONDS,
    progress: Callable[[float], None] | None = None,
) -> int:
    """Write what `player` sounds, with a fade-out at the end; give the number of frames.

    path : ends in .wav or .flac
    seconds : 0.1 to 86400, the fades included
    sample_format : 16 or 24 bits with triangular dither, or 32-bit float (WAV only)
    force : replace an existing file
    progress : called after each block with the seconds written so far
    Raises BadValue for a length, a name or a format that makes no sense. Raises CannotWrite, and keeps
    nothing, for an existing file without `force`, a file too large for WAV or the disk, or a failing disk.
    """
    frames = _checked_frames(seconds, player.sample_rate)
    container = _checked_container(path, sample_format)
    size = frames * player.channels * sample_format.bytes_per_sample
    if container == "WAV" and size > _LARGEST_WAV_BYTES:
        raise CannotWrite(
            f"{path}: {_readable(size)} is more than a WAV file can hold (4 GiB); "
            "write a .flac, or fewer seconds"
        )
    try:
        _check_place(path, force)
        remove_left_over(path.parent)  # which may be what fills the disk
        _check_free_space(path, size)
    except OSError as failure:
        raise CannotWrite(f"{path}: cannot be written: {failure.strerror}; choose another name") from failure
    fade_frames = min(round(fade_out_seconds * player.sample_rate), frames // 2)

    import soundfile

    subtype = _SUBTYPES[sample_format]
    with written_whole(path, force=True) as part:
        try:
            with soundfile.SoundFile(
                part, "w", player.sample_rate, player.channels, subtype, format=container
            ) as file:
                _stream(file, player, frames, fade_frames, sample_format, progress)
            whole = _is_whole(part, frames)
        except (soundfile.SoundFileError, AssertionError) as failure:  # it asserts that all was taken
            raise OSError(_reason(failure, path)) from failure
        if not whole:
            raise OSError("the disk did not keep all of it")
    return frames


def _stream(
    file: "soundfile.SoundFile",
    player: Player,
    frames: int,
    fade_frames: int,
    sample_format: SampleFormat,
    progress: Callable[[float], None] | None,
) -> None:
    """Pull block after block into the file, and let the player stop in time."""
    room = np.empty((_BLOCK_FRAMES, player.channels), dtype=np.float32)
    quantised = _Quantiser(sample_format)
    written = 0
    while written < frames:
        if written == frames - fade_frames:
            player.stop(fade_frames / player.sample_rate)
        until = frames - fade_frames if written < frames - fade_frames else frames
        block = room[: min(_BLOCK_FRAMES, until - written)]
        player.pull(block)
        file.write(quantised(block))
        written += len(block)
        if progress:
            progress(written / player.sample_rate)


class _Quantiser:
    """Rounds samples to whole steps, with dither of triangular distribution, two steps wide, before.

    Such dither makes the error of rounding a steady hiss that does not depend on the signal.
    Source: Lipshitz, Wannamaker and Vanderkooy, J. Audio Eng. Soc. 40 (1992) 355-375, from memory.
    The hiss comes from a fixed seed: the same sound gives the same file.
    """

    def __init__(self, sample_format: SampleFormat) -> None:
        self._format = sample_format
        self._hiss = np.random.default_rng(0)

    def __call__(self, block: NDArray[np.float32]) -> NDArray[np.float32] | NDArray[np.int32]:
        """Floats as they are, or whole steps in the upper bits of int32, where libsndfile takes them from."""
        if self._format is SampleFormat.FLOAT_32:
            return block
        bits = 8 * self._format.bytes_per_sample
        steps = block * np.float64(2 ** (bits - 1))
        steps += self._hiss.random(block.shape)
        steps -= self._hiss.random(block.shape)
        np.rint(steps, out=steps)
        return steps.astype(np.int32) << (32 - bits)


def _checked_frames(seconds: float, sample_rate: int) -> int:
    if not SHORTEST_FILE_SECONDS <= seconds <= LONGEST_FILE_SECONDS:  # false for NaN as well
        raise BadValue(
            f"a file of {seconds:g} seconds is not possible; "
            f"give {SHORTEST_FILE_SECONDS:g} to {LONGEST_FILE_SECONDS:g} (24 hours)"
        )
    return round(seconds * sample_rate)


def _checked_container(path: Path, sample_format: SampleFormat) -> str:
    container = _CONTAINERS.get(path.suffix.lower())
    if container is None:
        raise BadValue(f"{path}: unknown kind of file; end the name in .wav or .flac")
    if container == "FLAC" and sample_format is SampleFormat.FLOAT_32:
        raise BadValue(f"{path}: FLAC holds 16 or 24 bits, no floats; choose one of them, or write a .wav")
    return container


def _check_place(path: Path, force: bool) -> None:
    """Raise CannotWrite unless a file may be made, or replaced, there."""
    if not path.parent.is_dir():
        raise CannotWrite(f"{path}: there is no directory {path.parent}; make it first")
    if path.is_dir() or (path.exists() and not path.is_file()):
        raise CannotWrite(f"{path}: already exists and is not a file; choose another name")
    if not force:
        refuse_what_exists(path)


def _check_free_space(path: Path, size: int) -> None:
    free = shutil.disk_usage(path.parent).free
    if size > free:
        raise CannotWrite(
            f"{path}: needs up to {_readable(size)} and the disk has {_readable(free)} free; "
            "make room, or write fewer seconds"
        )


def _readable(size: float) -> str:
    return f"{size / 1e9:.1f} GB" if size >= 1e9 else f"{size / 1e6:.1f} MB"


def _is_whole(path: Path, frames: int) -> bool:
    """Whether the last frame can be read again; libsndfile is silent about what it loses when it closes."""
    import soundfile

    with soundfile.SoundFile(path) as file:
        file.seek(frames - 1)
        return len(file.read(2)) == 1


def _reason(failure: Exception, path: Path) -> str:
    """Why it failed, in a few words. libsndfile only knows a system error."""
    if shutil.disk_usage(path.parent).free < _FULL_DISK_BYTES:
        return "the disk is full"
    return str(failure).rstrip(".")
