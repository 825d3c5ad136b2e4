"""The part of the page that goes through the tuning order, each step with its sound."""

import asyncio
from collections.abc import Iterable
from typing import ClassVar

from msgspec import Struct

from tonegen.errors import BadValue
from tonegen.order.steps import Order, TuningStep
from tonegen.order.walk import Listening, StepHeard
from tonegen.page.asked import Asked
from tonegen.page.order import asks
from tonegen.page.order.ordering import AskedOrder, OrderView, order_of, plan_of, voice_of
from tonegen.page.part import Act, Change, Done, Host, Part, Standing, Voice
from tonegen.setup.rig import Rig


def _planned(at: Standing) -> AskedOrder:
    return AskedOrder(at.rig, at.setting.scene)


def _move_on(asked: asks.MoveOn, at: Standing) -> Done:
    return at.plays(goes_on=asked.on)


class OrderPart(Part):
    """The plan, and the step that is heard. A plan to other offsets than those of now is stale."""

    changes: ClassVar[dict[type[Asked], Change]] = {asks.MoveOn: _move_on}

    def __init__(self, host: Host) -> None:
        """No plan yet."""
        super().__init__(host)
        self._plan: Order | None = None
        self._planned_for: AskedOrder | None = None
        self._seen: Rig | None = None  # the last one that was compared
        self._stale = False
        self._listening: Listening | None = None

    @property
    def step(self) -> TuningStep | None:
        """The step that is heard."""
        return None if self._listening is None else self._listening.step

    @property
    def place(self) -> int:
        """Which one that is, -1 for none."""
        return -1 if self._listening is None else self._listening.at

    def go_on(self) -> bool:
        """Go to the next step; whether there is one."""
        if self._plan is None or self._listening is None or self.place + 1 >= len(self._plan.steps):
            return False
        self._step(asks.GoToStep(self.place + 1, self._listening.heard.value))
        return True

    def shown(self) -> Iterable[Struct]:
        """The plan."""
        return (self._view(),)

    def follow(self, at: Standing) -> None:
        """Say so when the targets, or the scene, changed since the plan was made."""
        if self._planned_for is None or at.rig is self._seen:  # another setting has another rig
            return
        self._seen = at.rig
        stale = not self._planned_for.is_like(_planned(at))
        if stale != self._stale:
            self._stale = stale
            self.host.post(self._view())

    def voice(self, at: Standing) -> Voice | None:
        """The step that is heard."""
        return voice_of(self._listening, at.rig) if self._listening is not None else None

    def _view(self) -> OrderView:
        return plan_of(self._plan, self._listening, self._stale)

    def _order(self, asked: asks.MakePlan) -> None:
        self.host.work(self._make(_planned(self.host.at)))

    async def _make(self, planned: AskedOrder) -> None:
        self._plan = await asyncio.to_thread(order_of, planned)
        self._planned_for, self._seen = planned, self.host.at.rig
        self._stale = not planned.is_like(_planned(self.host.at))
        if self._listening is not None:
            self._listening = None
            self.host.sound_anew()
        self.host.post(self._view())

    def _step(self, asked: asks.GoToStep) -> None:
        if self._plan is None or asked.at >= len(self._plan.steps):
            raise BadValue("there is no such step; make the plan first")
        self._listening = None
        if asked.at >= 0:
            reference_hz = self.host.at.rig.reference_hz
            self._listening = Listening(self._plan, reference_hz, asked.at, StepHeard(asked.heard))
        self.host.sound_anew()
        self.host.post(self._view())

    acts: ClassVar[dict[type[Asked], Act]] = {
        asks.MakePlan: _order,
        asks.GoToStep: _step,
    }
