"""Where the engine's sound goes: a device of the machine, one page's own loudspeaker, or nowhere.

One of them at a time draws blocks from the player and so keeps its time. Each knows which frame is heard
when, on the clock of `time.monotonic`; that relation is all that pages need to draw beats with the sound.
"""

import asyncio
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from tonegen.ear.rendering import CHANNELS, Booth
from tonegen.errors import NoSuchDevice
from tonegen.sound import device as devices
from tonegen.synthesis.player import FADE_SECONDS, QUIET_LEVEL_DBFS, RAMP_SECONDS, Player

_NOWHERE_SECONDS: Final = 0.1
LARGEST_WANT_FRAMES: Final = 16_384
OPENING: Final = "opening"
NOWHERE: Final = "nowhere"


@dataclass(frozen=True, slots=True)
class HeardFrame:
    """A frame and the moment at which it is heard."""

    frame: int
    at_seconds: float


class MeteredPlayer(Player):
    """A player with a booth beside it for trials, that remembers the highest peak since it was last asked."""

    _peak = 0.0
    sounded_frames = 0  # those of blocks that were not silent

    def __init__(self, sample_rate: int, channels: int = 2, level_dbfs: float = QUIET_LEVEL_DBFS) -> None:
        """Silent until tones are set, or the booth plays."""
        super().__init__(sample_rate, channels, level_dbfs)
        self.booth = Booth(self.sample_rate, level_dbfs)
        self._booth_share = sqrt(self.channels / CHANNELS)
        self._from_booth = np.empty((0, CHANNELS), dtype=np.float32)

    def pull(self, out: NDArray[np.float32]) -> None:
        """Fill the next block, and look at it."""
        super().pull(out)
        if not self.booth.idle:
            if len(self._from_booth) < len(out):
                self._from_booth = np.empty((len(out), CHANNELS), dtype=np.float32)
            part = self._from_booth[: len(out)]
            self.booth.pull(part, beside_rms=super().rms_heard() / self._booth_share)
            out += part[:, : self.channels]
        peak = max(float(out.max(initial=0.0)), -float(out.min(initial=0.0)))
        self._peak = max(self._peak, peak)
        self.sounded_frames += len(out) if peak else 0

    def level(self, level_dbfs: float, *, ramp_seconds: float = RAMP_SECONDS) -> None:
        """Change the level of everything, in the booth as well."""
        super().level(level_dbfs, ramp_seconds=ramp_seconds)
        self.booth.level(level_dbfs)

    def rms_heard(self) -> float:
        """How loud the louder of the two is."""
        return max(super().rms_heard(), self.booth.rms_heard() * self._booth_share)

    def stop(self, fade_seconds: float = FADE_SECONDS) -> None:
        """Fade everything out, and the booth."""
        self.booth.play(None)
        super().stop(fade_seconds)

    @property
    def finished(self) -> bool:
        """Silent, the booth as well."""
        return super().finished and self.booth.idle

    def take_peak(self) -> float:
        """The highest peak since the last call, linear."""
        peak, self._peak = self._peak, 0.0
        return peak


class Outlet(Protocol):
    """What draws blocks from the player."""

    words: str

    def heard(self) -> HeardFrame:
        """Which frame is heard when."""

    def close(self) -> None:
        """Draw no more; returns at once."""


class Nowhere:
    """Draws blocks in real time and drops them, so that beats are seen where nothing is heard."""

    def __init__(self, player: MeteredPlayer, words: str) -> None:
        """Begin now."""
        self.words = words
        self._player = player
        self._start = HeardFrame(player.frame, time.monotonic())
        self._task = asyncio.get_running_loop().create_task(self._run())

    def heard(self) -> HeardFrame:
        """As the clock has it."""
        now = time.monotonic()
        passed = (now - self._start.at_seconds) * self._player.sample_rate
        return HeardFrame(self._start.frame + round(passed), now)

    def close(self) -> None:
        """Stop drawing."""
        self._task.cancel()

    async def _run(self) -> None:
        most = self._player.sample_rate
        room = np.empty((most, self._player.channels), dtype=np.float32)
        while True:
            behind = self.heard().frame - self._player.frame
            if behind > 0:
                self._player.pull(room[: min(behind, most)])
            await asyncio.sleep(_NOWHERE_SECONDS)


class OnDevice:
    """The machine's sound device, played in a thread of its own."""

    words = OPENING

    def __init__(
        self,
        player: MeteredPlayer,
        device: devices.Device,
        block_frames: int,
        began: Callable[[], None],
        ended: Callable[[str], None],
    ) -> None:
        """Open it. The event loop calls `began` once it plays, `ended` with the reason, "" when closed."""
        self._stop = threading.Event()
        self._heard = HeardFrame(player.frame, time.monotonic())
        loop = asyncio.get_running_loop()

        def picture(frame: int) -> None:
            self._heard = HeardFrame(frame, time.monotonic())
            if self.words is OPENING:
                self.words = f"on {device.name}"
                loop.call_soon_threadsafe(began)

        def run() -> None:
            reason = ""
            try:
                devices.play(player, device, stop=self._stop, block_frames=block_frames, picture=picture)
            except NoSuchDevice as lost:
                reason = str(lost)
            if not loop.is_closed():
                loop.call_soon_threadsafe(ended, reason)

        self._thread = threading.Thread(target=run, name="sound device", daemon=True)
        self._thread.start()

    def heard(self) -> HeardFrame:
        """As the device last said."""
        return self._heard

    def close(self) -> None:
        """Let it fade out and close."""
        self._stop.set()

    def wait(self, seconds: float) -> None:
        """Wait for the device to be closed."""
        self._thread.join(seconds)


class InPage:
    """A page's own loudspeaker: it asks for frames, and says which it hears."""

    words = "in a browser"

    def __init__(self, player: MeteredPlayer, taken_away: Callable[[], None]) -> None:
        """`taken_away` is called when the sound goes elsewhere."""
        self._player = player
        self._taken_away = taken_away
        self._heard = HeardFrame(player.frame, time.monotonic())

    def draw(self, frames: int) -> bytes:
        """The next block: its first frame as float64, then float32 frames x channels, little endian."""
        out = np.empty((min(max(frames, 1), LARGEST_WANT_FRAMES), self._player.channels), dtype=np.float32)
        first = np.array([self._player.frame], dtype="<f8").tobytes()
        self._player.pull(out)
        return first + out.astype("<f4", copy=False).tobytes()

    def now_hears(self, frame: int) -> None:
        """Note what the page hears at this moment."""
        self._heard = HeardFrame(min(max(frame, 0), self._player.frame), time.monotonic())

    def heard(self) -> HeardFrame:
        """As the page last said."""
        return self._heard

    def close(self) -> None:
        """Tell the page."""
        self._taken_away()
