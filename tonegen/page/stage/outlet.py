"""Where the engine's sound goes: a device of the machine, one page's own loudspeaker, or nowhere.

One of them at a time draws blocks from the player and so keeps its time. Each knows which frame is heard
when, on the clock of `time.monotonic`; that relation is all that pages need to draw beats with the sound.
"""

import asyncio
import threading
import time
from collections.abc import Awaitable, Callable
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
# A page has so much in hand beside a block, and blocks as long as nothing has changed: few messages cost it
# little. A change replaces what it has in hand from so soon on, with a short block first; changes of a drag
# are that far apart.
_SPARE_SECONDS: Final = 0.15
_SHORTEST_BLOCK_SECONDS: Final = 0.25
_LONGEST_BLOCK_SECONDS: Final = 1.0
_SOON_SECONDS: Final = 0.02
_CHANGED_SECONDS: Final = 0.1
_CHANGES_APART_SECONDS: Final = 0.03
# What the booth plays cannot be pulled again: less of it is in hand.
_BLOCK_FROM_BOOTH_SECONDS: Final = 0.05
# A moment that a page tells is not taken where it is further than this from when it came.
_CLOCKS_APART_SECONDS: Final = 1.0
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
    _sounds = False  # in the last block
    sounded_frames = 0  # those of blocks that were not silent

    def __init__(self, sample_rate: int, channels: int = 2, level_dbfs: float = QUIET_LEVEL_DBFS) -> None:
        """Silent until tones are set, or the booth plays."""
        super().__init__(sample_rate, channels, level_dbfs)
        self.booth = Booth(self.sample_rate, level_dbfs)
        self._booth_until = 0  # the frame up to which it played
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
            self._booth_until = self.frame
        peak = max(float(out.max(initial=0.0)), -float(out.min(initial=0.0)))
        self._peak = max(self._peak, peak)
        self._sounds = peak > 0
        self.sounded_frames += len(out) if peak else 0

    def go_to(self, frame: int) -> None:
        """Pull from this frame next; never behind what the booth played, which goes on but once."""
        before = self.frame
        super().go_to(max(frame, self._booth_until))
        if self._sounds:
            self.sounded_frames += self.frame - before

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

    def will_change(self) -> None:
        """Something will be commanded now, to be heard as soon as can be."""

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

    def will_change(self) -> None:
        """Nobody hears it."""

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

    def will_change(self) -> None:
        """It draws when it needs a block, and no sooner."""

    def close(self) -> None:
        """Let it fade out and close."""
        self._stop.set()

    def wait(self, seconds: float) -> None:
        """Wait for the device to be closed."""
        self._thread.join(seconds)


class InPage:
    """A page's own loudspeaker: it says what it plays, and is given blocks ahead of that.

    Much is in hand, so that few messages are needed and a busy network makes no gap; what is changed replaces
    it from almost at once, since the player goes back to where the page is.
    """

    words = "in a browser"

    def __init__(self, player: MeteredPlayer, taken_away: Callable[[], None]) -> None:
        """`taken_away` is called when the sound goes elsewhere."""
        self._player = player
        self._taken_away = taken_away
        self._heard = HeardFrame(player.frame, time.monotonic())
        self._next: HeardFrame | None = None  # the first frame that the page has not begun to play
        self._given = player.frame  # the frame up to which it was given blocks
        self._changed = False
        self._changed_at_seconds = time.monotonic()
        self._stirred = asyncio.Event()

    def now_plays(self, next_frame: float, heard_frame: float, heard_at_seconds: float | None) -> None:
        """Note where the page is: the next frame that it plays, and which is heard when; None is now."""
        now, last = time.monotonic(), self._given
        if heard_at_seconds is None or not abs(now - heard_at_seconds) < _CLOCKS_APART_SECONDS:
            heard_at_seconds = now
        self._heard = HeardFrame(round(min(max(heard_frame, 0.0), last)), heard_at_seconds)
        self._next = HeardFrame(round(min(max(next_frame, 0.0), last)), now)
        self._stirred.set()

    def will_change(self) -> None:
        """Go back to where the page is, so that the change begins there; the page gets it next."""
        self._go_back()
        self._changed = True
        self._changed_at_seconds = time.monotonic()
        self._stirred.set()

    async def deliver(self, send: Callable[[bytes], Awaitable[None]]) -> None:
        """Give the page what it needs, for as long as it is open."""
        while True:
            await self._stirred.wait()
            self._stirred.clear()
            if self._changed:
                self._changed = False
                self._go_back()
                await send(self.draw(self._frames(_CHANGED_SECONDS)))
                await asyncio.sleep(_CHANGES_APART_SECONDS)
            while not self._changed and (frames := self._wanted_frames()):
                await send(self.draw(frames))

    def draw(self, frames: int) -> bytes:
        """The next block: its first frame and how many channels as float64, then float32, little endian, one
        channel after the other; both ears have one where they hear the same.
        """
        out = np.empty((frames, self._player.channels), dtype=np.float32)
        first = self._player.frame
        self._player.pull(out)
        self._given = self._player.frame
        channels = out.T[:1] if (out == out[:, :1]).all() else out.T
        return np.array([first, len(channels)], dtype="<f8").tobytes() + channels.astype("<f4").tobytes()

    def heard(self) -> HeardFrame:
        """As the page last said."""
        return self._heard

    def close(self) -> None:
        """Tell the page."""
        self._taken_away()

    def _go_back(self) -> None:
        if self._next is not None and self._player.booth.idle:
            self._player.go_to(min(self._next_frame() + self._frames(_SOON_SECONDS), self._given))

    def _wanted_frames(self) -> int:
        """The length of the block that the page needs now; 0 while it has enough, or has not begun."""
        if self._next is None:
            return 0
        block = _BLOCK_FROM_BOOTH_SECONDS
        if self._player.booth.idle:
            calm = time.monotonic() - self._changed_at_seconds
            block = min(max(calm, _SHORTEST_BLOCK_SECONDS), _LONGEST_BLOCK_SECONDS)
        in_hand = self._frames(block + _SPARE_SECONDS)
        return 0 if self._given - self._next_frame() >= in_hand else self._frames(block)

    def _next_frame(self) -> int:
        """The next frame that the page plays now; one that has played all that it had waits there."""
        assert self._next is not None
        now = time.monotonic()
        frame = self._next.frame + self._frames(now - self._next.at_seconds)
        if frame > self._given:
            self._next = HeardFrame(self._given, now)
            return self._given
        return frame

    def _frames(self, seconds: float) -> int:
        return round(seconds * self._player.sample_rate)
