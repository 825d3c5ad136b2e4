"""The part of the page that goes through the tuning order, each step with its sound."""

import asyncio
from collections.abc import Iterable
from typing import ClassVar

from msgspec import Struct

from tonegen.errors import BadValue
from tonegen.order.steps import Order
from tonegen.order.walk import Listening
from tonegen.page.asked import Asked
from tonegen.page.order import asks
from tonegen.page.order.ordering import OrderView, order_of, plan_of, same_plan, tones_of
from tonegen.page.part import Act, Host, Part, Standing, Voice
from tonegen.setup.rig import Rig


class OrderPart(Part):
    """The plan, and the step that is heard. A plan to other offsets than those of now is stale."""

    def __init__(self, host: Host) -> None:
        """No plan yet."""
        super().__init__(host)
        self._plan: Order | None = None
        self._planned_for: Rig | None = None
        self._seen: Rig | None = None  # the last one that was compared
        self._stale = False
        self._listening: Listening | None = None

    def shown(self) -> Iterable[Struct]:
        """The plan."""
        return (self._view(),)

    def follow(self, at: Standing) -> None:
        """Say so when the targets changed since the plan was made."""
        if at.rig is self._seen or self._planned_for is None:
            return
        self._seen = at.rig
        stale = not same_plan(self._planned_for, at.rig)
        if stale != self._stale:
            self._stale = stale
            self.host.post(self._view())

    def voice(self, at: Standing) -> Voice | None:
        """The two tones of the step that is heard."""
        if self._listening is None:
            return None
        return Voice(tones_of(self._listening, at.rig), self._listening.sounding())

    def _view(self) -> OrderView:
        return plan_of(self._plan, self._listening, self._stale)

    def _order(self, asked: asks.MakePlan) -> None:
        self.host.work(self._make(self.host.at.rig))

    async def _make(self, rig: Rig) -> None:
        self._plan = await asyncio.to_thread(order_of, rig)
        self._planned_for, self._seen = rig, self.host.at.rig
        self._stale = not same_plan(rig, self._seen)
        if self._listening is not None:
            self._listening = None
            self.host.sound_anew()
        self.host.post(self._view())

    def _step(self, asked: asks.GoToStep) -> None:
        if self._plan is None or asked.at >= len(self._plan.steps):
            raise BadValue("there is no such step; make the plan first")
        self._listening = None
        if asked.at >= 0:
            self._listening = Listening(self._plan, self.host.at.rig.reference_hz, asked.at, asked.only)
        self.host.sound_anew()
        self.host.post(self._view())

    acts: ClassVar[dict[type[Asked], Act]] = {asks.MakePlan: _order, asks.GoToStep: _step}
