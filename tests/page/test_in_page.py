"""A page's own loudspeaker: much is in hand, and yet a touch is heard almost at once."""

import asyncio
from contextlib import asynccontextmanager, suppress
from types import SimpleNamespace

import numpy as np
import pytest

from tests.measure import hz_of, splash_db
from tests.page import asks
from tests.page.visitor import frames_of, in_the_loop, visitor

RATE = 48_000


class Loudspeaker:
    """What a page has in hand, each block in the place of what it had from there on; a clock set by hand."""

    def __init__(self, clock):
        self.page = visitor(None, None, asks.Strings((4, 5)), asks.TurnSound(True))
        self.outlet = self.page.engine.stage.hear_in_page(RATE, lambda: None)
        self.blocks = []  # first frame and count
        self.sent = []
        self.sound = np.empty((0, 2), dtype=np.float32)
        self._clock = clock

    async def take(self, block):
        first, sound = frames_of(block)
        self.sent.append(block)
        self.blocks.append((first, len(sound)))
        self.sound = np.concatenate([self.sound[:first], sound])

    @asynccontextmanager
    async def open(self):
        delivering = asyncio.create_task(self.outlet.deliver(self.take))
        yield
        delivering.cancel()
        with suppress(asyncio.CancelledError):
            await delivering

    async def plays(self, seconds):
        """It has played so much of the sound, and says so; what comes of that."""
        self._clock.now = seconds
        self.outlet.now_plays(seconds * RATE, seconds * RATE, None)
        await self.settle()

    async def settle(self):
        count = -1
        while count != len(self.blocks):
            count = len(self.blocks)
            await asyncio.sleep(0.05)

    @property
    def in_hand_seconds(self):
        return len(self.sound) / RATE - self._clock.now


@pytest.fixture
def clock(monkeypatch):
    clock = SimpleNamespace(now=0.0)
    clock.monotonic = lambda: clock.now
    monkeypatch.setattr("tonegen.page.stage.outlet.time", clock)
    return clock


def loudspeaker(test):
    """Run a test in the event loop, with a loudspeaker that is open."""

    def run(clock):
        @in_the_loop
        async def inside():
            speaker = Loudspeaker(clock)
            async with speaker.open():
                await test(speaker)

        inside()

    return run


@loudspeaker
async def test_few_blocks_keep_enough_in_hand(speaker):
    """It says where it is as each block ends; blocks are as long as nothing has changed, up to a second."""
    await speaker.plays(0.0)
    for at, (first, frames) in enumerate(speaker.blocks):
        assert frames <= max(0.25, speaker._clock.now) * RATE
        await speaker.plays((first + frames) / RATE)
        assert 0.4 <= speaker.in_hand_seconds < 2.2
        if at == 20:
            break

    assert sum(frames for _, frames in speaker.blocks) == len(speaker.sound)  # none twice
    assert {frames for _, frames in speaker.blocks[-10:]} == {RATE}
    speaker.page.ask(asks.Bar(1.0))
    await speaker.settle()
    assert 0.4 <= speaker.in_hand_seconds < 0.7


@loudspeaker
async def test_what_both_ears_hear_alike_is_sent_once(speaker):
    await speaker.plays(0.0)
    assert {np.frombuffer(block, "<f8", 2)[1] for block in speaker.sent} == {1}
    assert speaker.sound.any()
    speaker.page.ask(asks.SplitEars(True))
    await speaker.settle()

    assert np.frombuffer(speaker.sent[-1], "<f8", 2)[1] == 2
    assert np.abs(speaker.sound[-1000:, 0] - speaker.sound[-1000:, 1]).max() > 0.01


@loudspeaker
async def test_a_touch_replaces_what_is_in_hand_and_no_seam_is_heard(speaker):
    """From 20 ms ahead of where the page is; its partials end below 11 kHz, a click would not."""
    for seconds in (0.0, 0.4, 0.8, 1.0):
        await speaker.plays(seconds)
    before, count = speaker.sound.copy(), len(speaker.blocks)
    speaker.page.ask(asks.Bar(1.0))
    await speaker.settle()
    begin, _ = speaker.blocks[count]

    assert begin == 1.02 * RATE
    assert (speaker.sound[:begin] == before[:begin]).all()
    both = min(len(before), len(speaker.sound))
    assert np.abs(speaker.sound[:both] - before[:both])[round(1.1 * RATE) :].max() > 0.01
    assert splash_db(speaker.sound[round(0.6 * RATE) : round(1.3 * RATE), 0], RATE, 12_000.0) < -140


@loudspeaker
async def test_what_a_drag_brings_is_heard_where_it_ends(speaker):
    await speaker.plays(0.0)
    count = len(speaker.blocks)
    for cents in range(1, 20):
        speaker.page.ask(asks.Offset(5, float(-cents), gesture="drag"))
        if cents == 1:
            await asyncio.sleep(0)  # the first is sent
    await speaker.settle()

    short = [frames for _, frames in speaker.blocks[count:] if frames == 0.1 * RATE]
    assert len(short) == 2  # touches that come close upon each other are one change
    assert speaker.in_hand_seconds >= 0.4
    hz = speaker.page.engine.stage.sounding_hz()[0]
    assert hz_of(speaker.sound[round(0.15 * RATE) :, 0], RATE, hz) == pytest.approx(hz, abs=0.05)


@loudspeaker
async def test_what_is_only_seen_sends_nothing_again(speaker):
    await speaker.plays(0.0)
    count = len(speaker.blocks)
    speaker.page.ask(asks.Release())
    await speaker.settle()

    assert len(speaker.blocks) == count


@loudspeaker
async def test_a_page_that_rested_is_heard_at_once(speaker):
    """It has played all that it had, and says nothing more until there is something to play."""
    await speaker.plays(0.0)
    end = len(speaker.sound)
    speaker._clock.now = 60.0
    speaker.page.ask(asks.Bar(1.0))
    await speaker.settle()

    assert (end, round(0.1 * RATE)) in speaker.blocks
    assert 0.4 * RATE <= len(speaker.sound) - end < 0.7 * RATE


@loudspeaker
async def test_what_the_booth_plays_is_not_pulled_again(speaker):
    await speaker.plays(0.0)
    speaker.page.ask(asks.Steady(True))
    await speaker.settle()
    await speaker.plays(0.3)
    end = len(speaker.sound)
    speaker.page.ask(asks.Level(-30.0))
    await speaker.settle()

    assert speaker.in_hand_seconds < 0.4
    assert (end, round(0.1 * RATE)) in speaker.blocks


@loudspeaker
async def test_a_moment_that_cannot_be_is_that_at_which_it_came(speaker):
    """A page's clock that is wrong by more than a second moves nobody's strands."""
    await speaker.plays(0.0)
    for told, kept in ((0.2, 0.2), (-5.0, 0.3), (float("nan"), 0.3)):
        speaker._clock.now = 0.3
        speaker.outlet.now_plays(4800.0, 2400.0, told)
        heard = speaker.outlet.heard()
        assert (heard.frame, heard.at_seconds) == (2400, kept)
