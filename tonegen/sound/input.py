"""Sound that comes in from a device, by PortAudio: block by block, however long."""

import queue
import sys
import threading
import time
from collections.abc import Iterator
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray

from tonegen import ending
from tonegen.errors import BadValue, NoSuchDevice
from tonegen.sound.device import (
    LOST_AFTER_SECONDS,
    Device,
    choose,
    close_stream,
    closed,
    in_words,
    input_devices,
    opening,
    portaudio,
)
from tonegen.sound.recordings import LOWEST_RATE
from tonegen.synthesis.player import SWITCH_SECONDS

Array = NDArray[np.float64]

SILENCE: Final = 1e-5  # what is below all the time comes from no instrument
_NO_INPUT: Final = "there is no sound input; connect one, or listen to a recording: tonegen listen SOUND"
_BLOCK_SECONDS: Final = 0.02
_MOST_WAITING: Final = 4096  # blocks of the device, so that whoever takes none fills no memory
_LOUDER: Final = 4.0  # in power, of another channel: then that one is heard
_KEPT_OF_POWER: Final = 0.98  # from block to block


def chosen_input(which: str | None) -> Device:
    """The input with that number, or part of a name; the default one for None. Raises NoSuchDevice."""
    return choose(which, input_devices(), _NO_INPUT)


class SoundInput:
    """What comes in at a device while it is open. Of several channels the loudest is heard, or a chosen one.

    sample_rate : the device's own. frames, at_seconds : so many frames had come at this time of the machine's
    clock. overflows : times that sound was lost on the way in. peak : of all that was taken out.
    """

    def __init__(self, device: Device, channel: int = 0) -> None:
        """Open nothing yet. channel : counted from 1, 0 for the loudest.

        Raises BadValue for a rate that is too low to hear strings, or a channel that is not there.
        """
        if device.sample_rate < LOWEST_RATE:
            raise BadValue(
                f"sound device {device}: {device.sample_rate} Hz is too low a rate to hear strings"
            )
        if not 0 <= channel <= device.channels:
            raise BadValue(
                f"sound device {device} has no channel {channel}; "
                f"choose one of 1 to {device.channels}, or the loudest"
            )
        self.device = device
        self.sample_rate = device.sample_rate
        self.frames, self.at_seconds = 0, 0.0
        self.overflows = 0
        self.peak = 0.0
        self._block_frames = 0
        self._only = channel
        self._powers = np.zeros(1 if channel else device.channels)
        self._channel = 0
        self._waiting: queue.Queue[tuple[NDArray[np.float32], float]] = queue.Queue(_MOST_WAITING)
        self._ended = threading.Event()
        self._lost = False
        self._stream: Any = None

    def __enter__(self) -> Self:
        """Open it. Raises NoSuchDevice where the device does not give its sound."""
        sounddevice = portaudio()
        try:
            # A signal in the middle of a word with its server is to JACK the server's end.
            with ending.put_off():
                opening()
                try:
                    self._stream = sounddevice.InputStream(
                        samplerate=self.sample_rate, device=self.device.number, dtype="float32",
                        channels=self.device.channels, callback=self._take,
                        finished_callback=self._ended.set,
                    )  # fmt: skip
                except sounddevice.PortAudioError:
                    closed()
                    raise
                self._stream.start()
                self._switch_seconds = sys.getswitchinterval()
                sys.setswitchinterval(SWITCH_SECONDS)  # the device's thread must not wait for the others
        except sounddevice.PortAudioError as refusal:
            if self._stream is not None:
                close_stream(self._stream, self.device, gently=False, lost=True)
            raise NoSuchDevice(
                f"sound device {self.device} gives no sound ({in_words(refusal)}); "
                "check that it is connected and that no other program is using it"
            ) from refusal
        except BaseException:  # told to end: the device's thread must not call what is gone
            if self._stream is not None:
                close_stream(self._stream, self.device, gently=False, lost=False)
            raise
        return self

    def __exit__(self, *_: object) -> None:
        """Close it."""
        sys.setswitchinterval(self._switch_seconds)
        close_stream(self._stream, self.device, gently=False, lost=self._lost)

    def blocks(self) -> Iterator[Array]:
        """The sound from now on, in blocks of 20 ms and more, each of shape (frames,).

        Raises NoSuchDevice when the device is lost, BadValue for what is no sound.
        """
        gathered: list[NDArray[np.float32]] = []
        while True:
            block, self.at_seconds = self._next()
            self.frames += len(block)
            self._block_frames = len(block)
            gathered.append(block)
            if sum(map(len, gathered)) >= _BLOCK_SECONDS * self.sample_rate:
                yield self._loudest(np.concatenate(gathered).astype(np.float64))
                gathered.clear()

    @property
    def behind_seconds(self) -> float:
        """How much sound waits to be taken out."""
        return self._waiting.qsize() * self._block_frames / self.sample_rate

    def _next(self) -> tuple[NDArray[np.float32], float]:
        if not (self._ended.is_set() and self._waiting.empty()):
            try:
                return self._waiting.get(timeout=LOST_AFTER_SECONDS)
            except queue.Empty:
                pass
        self._lost = True
        raise NoSuchDevice(
            f"sound device {self.device} was lost while listening; connect it again and restart"
        )

    def _loudest(self, channels: Array) -> Array:
        """Of all channels the one that is heard, since the sum of two may be silence."""
        if not np.isfinite(channels).all():
            raise BadValue(f"sound device {self.device}: there are numbers in its sound that are none")
        if self._only:
            channels = channels[:, self._only - 1 : self._only]
        self.peak = max(self.peak, float(np.abs(channels).max()))
        self._powers = _KEPT_OF_POWER * self._powers + channels.var(axis=0)
        loudest = int(np.argmax(self._powers))
        if self._powers[loudest] > _LOUDER * self._powers[self._channel]:
            self._channel = loudest
        return np.asarray(channels[:, self._channel])

    def _take(self, block: NDArray[np.float32], _frames: int, _times: Any, status: Any) -> None:
        """Called by the device's own thread for each block."""
        now = time.monotonic()
        if status.input_overflow:
            self.overflows += 1
        try:
            self._waiting.put_nowait((block.copy(), now))
        except queue.Full:
            self.overflows += 1
