"""A page without a browser: what the engine posts to it, newest of each kind."""

import asyncio
import json
from functools import wraps
from inspect import iscoroutine

import numpy as np

from tonegen.page.engine import Engine
from tonegen.page.play.asks import Release


class Visitor:
    """Joins an engine, asks, and reads what it was shown."""

    def __init__(self, engine):
        self.engine = engine
        self.shown = {}
        self._news = asyncio.Event()
        engine.join(self)

    def post(self, kind, message):
        self.shown[kind] = json.loads(message)
        self._news.set()

    def ask(self, *asked):
        """What the page shows once all of it is done."""
        for one in asked:
            self.engine.ask(one)
        return self.view

    @property
    def view(self):
        return self.shown["view"]

    async def until(self, kind, such_that=lambda shown: True, seconds=20):
        """What is shown of a kind once it is as wanted."""
        async with asyncio.timeout(seconds):
            while kind not in self.shown or not such_that(self.shown[kind]):
                self._news.clear()
                await self._news.wait()
        return self.shown[kind]

    def string(self, number):
        return next(string for string in self.view["strings"] if string["number"] == number)

    def pair(self, low, high):
        return next(
            pair for pair in self.view["pairs"] if (pair["low"], pair["high"]) == (str(low), str(high))
        )

    def cell(self, string, column):
        return next(
            cell for cell in self.view["cells"] if (cell["string"], cell["column"]) == (string, column)
        )


def in_the_loop(test):
    """Run a test inside an event loop, as the server runs the engine."""

    @wraps(test)
    def run(*arguments, **named):
        async def inside():
            running = test(*arguments, **named)
            if iscoroutine(running):
                await running

        asyncio.run(inside())

    return run


def visitor(kept=None, saved=None, *asked):
    """A page of a fresh engine with nothing engaged."""
    page = Visitor(Engine(kept, (saved if saved is not None else []).append))
    page.ask(Release(), *asked)
    return page


def frames_of(block):
    """The first frame of a block as a page's loudspeaker is given it, and its sound, frames x two ears."""
    first, channels = np.frombuffer(block, "<f8", 2)
    sound = np.frombuffer(block, "<f4", offset=16).reshape(int(channels), -1).T
    return int(first), np.broadcast_to(sound, (len(sound), 2))


def heard(page, seconds, rate):
    """What a page's own loudspeaker is given, mono, block by block, and the outlet it came through."""
    outlet = page.engine.stage.hear_in_page(rate, lambda: None)

    def more(seconds):
        blocks = []
        for _ in range(round(seconds * rate / 1000)):
            blocks.append(frames_of(outlet.draw(1000))[1][:, 0])
        return np.concatenate(blocks)

    more(seconds)
    return more, outlet
