"""The part of the page that takes OSC in. What it needs is imported when a page first asks."""

import asyncio
from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from msgspec import Struct

from tonegen.page.asked import Asked
from tonegen.page.part import Act, Host, Part
from tonegen.page.remote import asks

if TYPE_CHECKING:
    from tonegen.page.remote.osc import RemoteSwitch


class RemotePart(Part):
    """Whether OSC is taken in, and where."""

    def __init__(self, host: Host) -> None:
        """Nothing listens."""
        super().__init__(host)
        self._switch: RemoteSwitch | None = None

    def shown(self) -> Iterable[Struct]:
        """Where OSC is taken in, once somebody has asked for it."""
        return () if self._switch is None else (self._switch.view(),)

    async def close(self) -> None:
        """Listen no more."""
        if self._switch is not None:
            await self._switch.osc_in(None)

    def _osc_in(self, asked: asks.OscIn) -> None:
        self.host.work(self._with_switch().osc_in(asked.port))

    def _with_switch(self) -> "RemoteSwitch":
        if self._switch is None:
            from tonegen.page.remote.osc import Remote, RemoteSwitch

            remote = Remote(asyncio.get_running_loop(), self.host)
            self._switch = RemoteSwitch(remote, self.host.post, self.host.complain)
        return self._switch

    acts: ClassVar[dict[type[Asked], Act]] = {asks.OscIn: _osc_in}
