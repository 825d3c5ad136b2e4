"""The part of the page that counts along: taps or counted beats, and where the interval can be then."""

import asyncio
from typing import ClassVar

from tonegen.errors import TonegenError
from tonegen.page.asked import Asked
from tonegen.page.count import asks
from tonegen.page.count.counting import count_of, count_of_rate
from tonegen.page.part import Act, Part


class CountPart(Part):
    """Nothing is kept: each count is answered by itself."""

    def _tapped(self, asked: asks.Tapped) -> None:
        self.host.work(self._work_out(asked))

    async def _work_out(self, asked: asks.Tapped) -> None:
        try:
            interval = self.host.at.interval(asked.low, asked.high)
            counted = await asyncio.to_thread(count_of, asked.low, asked.high, interval, asked.times_ms)
        except TonegenError as error:
            self.host.complain(str(error))
        else:
            self.host.post(counted)

    def _counted(self, asked: asks.Counted) -> None:
        interval = self.host.at.interval(asked.low, asked.high)
        counted = f"{asked.beats:g} in {asked.seconds:g} s"
        rate = asked.beats / asked.seconds
        self.host.post(count_of_rate(asked.low, asked.high, interval, rate, counted, asked.side))

    acts: ClassVar[dict[type[Asked], Act]] = {asks.Tapped: _tapped, asks.Counted: _counted}
