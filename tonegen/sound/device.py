"""A player's sound on a device, by PortAudio."""

import atexit
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from tonegen import ending
from tonegen.errors import BadValue, NoSuchDevice
from tonegen.synthesis.player import FADE_SECONDS, SWITCH_SECONDS, Player

LARGEST_BLOCK_FRAMES: Final = 16_384
_PICTURE_SECONDS: Final = 0.04
LOST_AFTER_SECONDS: Final = 2.0  # a device that has taken nothing for so long is gone
_CLOSING_SECONDS: Final = 2.0
_CLOSING_LOST_SECONDS: Final = 0.5
# A host whose server PortAudio takes to be there: once it is gone, closing a stream waits for ever or aborts.
_HOST_NEVER_GONE: Final = "JACK Audio Connection Kit"


@dataclass(frozen=True, slots=True)
class Device:
    """A device that sound can go to."""

    number: int
    name: str
    host: str
    channels: int
    sample_rate: int
    is_default: bool
    of_default_host: bool

    def __str__(self) -> str:
        """Number, name and the system's way to it."""
        return f"{self.number} {self.name} ({self.host})"


@dataclass(frozen=True, slots=True)
class Played:
    """What came of playing."""

    seconds: float
    underflows: int  # blocks that came too late, each a gap that may have been heard


class _Open:
    """How many streams are open, or being opened: meanwhile PortAudio cannot look for devices again."""

    streams = 0
    lock = threading.Lock()


def look_again() -> None:
    """Find what was plugged in since, for PortAudio looks once. While something plays all stays as it is.

    Raises NoSuchDevice where PortAudio is missing or does not begin again.
    """
    sounddevice = portaudio()
    with _Open.lock:
        if not _Open.streams:
            try:
                sounddevice._terminate()
                sounddevice._initialize()
            except sounddevice.PortAudioError as refusal:
                raise NoSuchDevice(f"sound devices cannot be listed ({in_words(refusal)})") from refusal


def output_devices() -> tuple[Device, ...]:
    """Every device that sound can go to. Raises NoSuchDevice where PortAudio is missing."""
    return _devices("output")


def input_devices() -> tuple[Device, ...]:
    """Every device that sound can come from. Raises NoSuchDevice where PortAudio is missing."""
    return _devices("input")


def _devices(kind: str) -> tuple[Device, ...]:
    sounddevice = portaudio()
    hosts = sounddevice.query_hostapis()
    default = _default_number(sounddevice, kind)
    default_host = sounddevice.query_devices(default)["hostapi"] if default is not None else None
    return tuple(
        Device(
            number=found["index"],
            name=found["name"],
            host=hosts[found["hostapi"]]["name"],
            channels=found[f"max_{kind}_channels"],
            sample_rate=round(found["default_samplerate"]),
            is_default=found["index"] == default,
            of_default_host=found["hostapi"] == default_host,
        )
        for found in sounddevice.query_devices()
        if found[f"max_{kind}_channels"] > 0
    )


def choose(
    which: str | None,
    devices: Sequence[Device],
    where_none_is: str = 'there is no sound device; connect one, or write a file with "tonegen render"',
) -> Device:
    """The device with that number, or with that part of a name; the default one for None.

    A whole name wins over a part, and the system's usual way to a device over its other ones.
    Raises NoSuchDevice, naming the devices that exist, when none or several fit.
    """
    if not devices:
        raise NoSuchDevice(where_none_is)
    listed = ", ".join(str(device) for device in devices)
    if which is None:
        fitting = [device for device in devices if device.is_default]
        if not fitting:
            raise NoSuchDevice(f"the system has no default sound device; choose one of: {listed}")
    elif which.isdecimal():
        fitting = [device for device in devices if device.number == int(which)]
    else:
        sought = which.casefold()
        fitting = [device for device in devices if device.name.casefold() == sought] or [
            device for device in devices if sought in str(device).casefold()
        ]
        fitting = [device for device in fitting if device.of_default_host] or fitting
    if not fitting:
        raise NoSuchDevice(f'no sound device "{which}"; there are: {listed}')
    if len(fitting) > 1:
        several = ", ".join(str(device) for device in fitting)
        raise NoSuchDevice(f'"{which}" matches {len(fitting)} sound devices: {several}; give the number')
    return fitting[0]


def check_playing(seconds: float | None, block_frames: int) -> None:
    """Raise BadValue for a time or a block that makes no sense, before a device is looked for."""
    if not 0 <= block_frames <= LARGEST_BLOCK_FRAMES:
        raise BadValue(f"a block of {block_frames} frames is not possible; give 0 to {LARGEST_BLOCK_FRAMES}")
    if seconds is not None and not seconds > 0:  # true for NaN as well
        raise BadValue(f"playing for {seconds:g} seconds is not possible; give more than 0")


def play(
    player: Player,
    device: Device,
    *,
    seconds: float | None = None,
    stop: threading.Event | None = None,
    block_frames: int = 0,
    fade_seconds: float = FADE_SECONDS,
    picture: Callable[[int], None] | None = None,
) -> Played:
    """Play until `seconds` are over, `stop` is set or Ctrl-C is pressed; then fade out.

    block_frames : frames that the device asks for at a time; 0 lets it choose
    picture : called about 25 times a second with the frame that is heard at that moment
    Raises BadValue for a block or a time that makes no sense; NoSuchDevice when the device does not take the
    sound, or is lost while playing.
    """
    check_playing(seconds, block_frames)
    stop = stop or threading.Event()
    until = player.frame + seconds * player.sample_rate if seconds is not None else float("inf")
    with _Stream(player, device, block_frames) as stream:
        try:
            while not stop.wait(_PICTURE_SECONDS) and player.frame < until:
                stream.raise_if_lost()
                if picture:
                    picture(stream.heard_frame())
        except KeyboardInterrupt:
            pass  # the usual way to end a tone
        player.stop(fade_seconds)
        while not player.finished:
            stream.raise_if_lost()
            stream.ended.wait(_PICTURE_SECONDS)
    return Played(stream.frames / player.sample_rate, stream.underflows)


class _Stream:
    """The stream to a device while it is open."""

    def __init__(self, player: Player, device: Device, block_frames: int) -> None:
        self.ended = threading.Event()
        self.underflows = 0
        self.frames = 0
        self._lost = False
        self._player = player
        self._device = device
        self._failure: Exception | None = None
        self._block_start: tuple[int, float] | None = None  # a frame, and when it will be heard
        self._seen_frames, self._seen_at = 0, time.monotonic()
        self._block_frames = block_frames
        self._stream: Any = None
        sounddevice = portaudio()
        self._abort = sounddevice.CallbackAbort
        self._refusal = sounddevice.PortAudioError
        self._new = sounddevice.OutputStream

    def __enter__(self) -> "_Stream":
        try:
            # A signal in the middle of a word with its server is to JACK the server's end.
            with ending.put_off():
                self._open()
                self._start()
        except BaseException:  # refused, or told to end: the device's thread must not call what is gone
            if self._stream is not None:
                self._close()
            raise
        self._seen_at = time.monotonic()
        self._switch_seconds = sys.getswitchinterval()
        sys.setswitchinterval(SWITCH_SECONDS)  # the device's thread must not wait for the others
        return self

    def _open(self) -> None:
        opening()
        player, device = self._player, self._device
        try:
            self._stream = self._new(
                samplerate=player.sample_rate,
                blocksize=self._block_frames,
                device=device.number,
                channels=player.channels,
                dtype="float32",
                callback=self._fill,
                finished_callback=self.ended.set,
            )
        except self._refusal as refusal:
            closed()
            raise NoSuchDevice(
                f"sound device {device} does not take {player.channels} channels at {player.sample_rate} Hz "
                f"({in_words(refusal)}); it has {device.channels} channels, "
                f"and prefers {device.sample_rate} Hz"
            ) from refusal

    def _start(self) -> None:
        try:
            self._stream.start()
        except self._refusal as refusal:
            self._lost = True
            raise NoSuchDevice(
                f"sound device {self._device} does not start ({in_words(refusal)}); "
                "check that it is connected and that no other program is using it"
            ) from refusal

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        sys.setswitchinterval(self._switch_seconds)
        self._close(gently=kind is None)

    def heard_frame(self) -> int:
        """The frame that leaves the device now, as far as the device knows its delay."""
        if self._block_start is None:
            return 0
        frame, heard_at = self._block_start
        seconds_ago = float(self._stream.time) - heard_at
        return max(0, frame + round(seconds_ago * self._player.sample_rate))

    def raise_if_lost(self) -> None:
        """Raise NoSuchDevice when the device has ended the stream or takes no more sound."""
        if self._failure:
            raise self._failure
        now = time.monotonic()
        if self.frames != self._seen_frames:
            self._seen_frames, self._seen_at = self.frames, now
        if self.ended.is_set() or now - self._seen_at > LOST_AFTER_SECONDS:
            self._lost = True
            raise NoSuchDevice(
                f"sound device {self._device} was lost while playing; connect it again and restart"
            )

    def _fill(self, out: NDArray[np.float32], frames: int, times: Any, status: Any) -> None:
        """Called by the device's own thread for each block."""
        if status.output_underflow:
            self.underflows += 1
        try:
            self._block_start = (self._player.frame, times.outputBufferDacTime)
            self._player.pull(out)
        except Exception as failure:
            self._failure = failure  # raised again where the caller waits
            raise self._abort from failure
        self.frames += frames

    def _close(self, gently: bool = False) -> None:
        close_stream(self._stream, self._device, gently, self._lost)


def close_stream(stream: Any, device: Device, gently: bool, lost: bool) -> None:
    """Close a stream, after what is under way when `gently`; a lost device may never answer."""
    if lost and device.host == _HOST_NEVER_GONE:
        leave_open_at_exit()
        return

    def close() -> None:
        if gently:
            stream.stop()
        stream.close()
        closed()

    closing = threading.Thread(target=close, daemon=True)
    closing.start()
    closing.join(_CLOSING_SECONDS if gently else _CLOSING_LOST_SECONDS)
    if closing.is_alive():
        leave_open_at_exit()


def opening() -> None:
    """A stream is being opened; `closed` ends that."""
    with _Open.lock:
        _Open.streams += 1


def closed() -> None:
    """A stream is open no more."""
    with _Open.lock:
        _Open.streams -= 1


def portaudio() -> Any:
    """The binding to PortAudio, which opens the library when it is imported."""
    try:
        # Cut short it would take PortAudio away from under the threads that JACK has begun.
        with ending.put_off():
            import sounddevice
    except OSError as missing:
        raise NoSuchDevice(
            "the PortAudio library is missing; install it (Debian: sudo apt install libportaudio2), "
            'or write a file with "tonegen render"'
        ) from missing
    return sounddevice


def leave_open_at_exit() -> None:
    """Do not let PortAudio shut down with a stream that cannot be closed: it would abort the program."""
    atexit.unregister(portaudio()._exit_handler)


def _default_number(sounddevice: Any, kind: str) -> int | None:
    try:
        return int(sounddevice.query_devices(kind=kind)["index"])
    except (sounddevice.PortAudioError, ValueError):
        return None


def in_words(refusal: Exception) -> str:
    """What PortAudio says, on one line."""
    return " ".join(str(refusal.args[0]).split()) if refusal.args else "no reason given"
