"""The part of the page that tempers: the scene that is asked is undone, what was found is an offer."""

import asyncio
from collections.abc import Iterable
from typing import ClassVar

from msgspec import Struct

from tonegen import presets
from tonegen.errors import BadPreset, BadValue, TonegenError
from tonegen.page.asked import Asked
from tonegen.page.part import Act, Change, Done, Host, Part, Standing
from tonegen.page.setting import Setting
from tonegen.page.temper import asks
from tonegen.page.temper.tempering import (
    Found,
    Offer,
    asked_of,
    checked_grip,
    differs,
    moved_to,
    offer_of,
    scene_of,
    solve,
    with_scene,
)
from tonegen.setup.setting import MovedPoint
from tonegen.tempering.scene import Scene, checked_point


def scene(asked: asks.TakeScene, at: Standing) -> Done:
    """Take a scene with its grips, weights and pins."""
    name = asked.name
    if name and name not in presets.names("scenes"):
        raise BadPreset(f'there is no scene called "{name[:40]}"; see: tonegen list scenes')
    setting = with_scene(at.setting, name)
    if name:
        scene_of(setting, at.rig)
    return Done(setting, at.playing, f"scene {name or 'none'}")


def weigh(asked: asks.Weigh, at: Standing) -> Done:
    """Say how much a grip matters."""
    checked_grip(asked.grip, at.setting, at.rig)
    weights = {**at.setting.weights, asked.grip: asked.weight}
    return at.sets(f"{asked.grip} weighs {asked.weight:g}", weights=weights)


def pin(asked: asks.HoldPoint, at: Standing) -> Done:
    """Hold a point at the offset that it has; one that is held is let go."""
    rig, pins = at.rig, at.setting.pins
    state = rig.instrument.state(dict.fromkeys(asked.changes, asked.travel))
    point = checked_point(rig.instrument, asked.string, state)
    others = tuple(held for held in pins if held.point != point)
    if len(others) < len(pins):
        return at.sets(f"{point} unpinned", pins=others)
    held = MovedPoint.of(point, rig.temperament.offset_cents(rig.instrument, point))
    return at.sets(f"{point} pinned", pins=(*others, held))


def objective(asked: asks.ChooseObjective, at: Standing) -> Done:
    """Say what is made least."""
    return at.sets(f"goal: {asked.name}", objective=asked.name)


class TemperPart(Part):
    """The scene that is asked, and what was found for it."""

    changes: ClassVar[dict[type[Asked], Change]] = {
        asks.TakeScene: scene,
        asks.Weigh: weigh,
        asks.HoldPoint: pin,
        asks.ChooseObjective: objective,
    }

    def __init__(self, host: Host) -> None:
        """Nothing is found yet."""
        super().__init__(host)
        self._found: Found | None = None
        self._along = -1
        self._shown_for: Setting | None = None

    def shown(self) -> Iterable[Struct]:
        """What is asked, and the offer."""
        at = self.host.at
        return (asked_of(at.setting, at.rig), self._offer())

    def follow(self, at: Standing) -> None:
        """Show what is asked where it changed."""
        before, self._shown_for = self._shown_for, at.setting
        if before is None or differs(before, at.setting):
            self.host.post(asked_of(at.setting, at.rig))

    def _offer(self) -> Offer:
        return offer_of(self._found, self._along)

    def _temper(self, asked: asks.Temper) -> None:
        at = self.host.at
        self.host.work(self._solve(scene_of(at.setting, at.rig), at.setting.objective))

    async def _solve(self, wanted: Scene, goal: str) -> None:
        try:
            self._found = await asyncio.to_thread(solve, wanted, goal)
        except TonegenError as error:
            self.host.complain(str(error))
            return
        self._along = -1
        self.host.post(self._offer())

    def _look_along(self, asked: asks.Along) -> None:
        if self._found is not None:
            self._along = self._found.checked_place(asked.place)
        self.host.post(self._offer())

    def _take_offer(self, asked: asks.TakeOffer) -> None:
        """Every tuning point moves there, in one step; the offer is taken."""
        if self._found is None:
            raise BadValue("there is nothing to save; temper first")
        at = self.host.at
        moved = moved_to(self._found, self._along, at.setting)
        said = "Set on the chart. To save it under a name, go to My own."
        self.host.accept(at.sets("tempered", said=said, moved=moved))
        self._throw_away()

    def _throw_away(self, asked: asks.ThrowAway | None = None) -> None:
        self._found = None
        self.host.post(self._offer())

    acts: ClassVar[dict[type[Asked], Act]] = {
        asks.Temper: _temper,
        asks.Along: _look_along,
        asks.TakeOffer: _take_offer,
        asks.ThrowAway: _throw_away,
    }
