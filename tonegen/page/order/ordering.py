"""The tuning order as a page shows it, step by step, and the two tones that each step sounds."""

from dataclasses import dataclass, replace

from msgspec import Struct

from tonegen.errors import TonegenError
from tonegen.instrument import TuningPoint
from tonegen.interval import audible
from tonegen.order.plan import tuning_order
from tonegen.order.steps import Check, Node, Order, TuningStep
from tonegen.order.walk import Listening, StepHeard
from tonegen.page import shelf
from tonegen.page.part import Voice
from tonegen.setup.rig import Rig
from tonegen.tempering.scene import Scene
from tonegen.words import beats_a_second, rate_and_side

LOW, HIGH = "step-low", "step-high"  # by which pages know the two tones of a step


class TuningStepView(Struct, frozen=True):
    """One step in words: what to tune, against what, how it must beat, and how sure it will be."""

    tune: str
    against: str
    engaged: str
    bar: str
    count: str
    rate: str
    interval: str
    listen: str
    sounds_like: str
    sure: str
    beats_per_second: float
    audible: str


class CheckView(Struct, frozen=True):
    """An interval that closes a loop."""

    pair: str
    engaged: str
    should: str
    within: str


class OrderView(Struct, tag="order", frozen=True):
    """The plan; `at` is the step that is heard, -1 for none. `stale` when the targets changed since."""

    steps: tuple[TuningStepView, ...]
    checks: tuple[CheckView, ...]
    cautions: tuple[str, ...]
    at: int
    heard: StepHeard
    stale: bool


NO_PLAN = OrderView((), (), (), -1, StepHeard.BOTH, False)


@dataclass(frozen=True, slots=True, eq=False)
class AskedOrder:
    """What a plan is for: a rig, and the name of the scene whose grips count; "" for the instrument's own."""

    rig: Rig
    scene: str

    def is_like(self, other: "AskedOrder") -> bool:
        """Whether the plan for one is that for the other: tuned alike, for the grips of one scene."""
        return self.scene == other.scene and _tuned_alike(self.rig, other.rig)


def order_of(planned: AskedOrder) -> Order:
    """The plan for everything that is tuned by itself, to the offsets as they are.

    A scene that cannot be read, or is for another instrument, is done without, as in tempering.
    """
    rig, scene = planned.rig, _scene(planned)
    return tuning_order(
        rig.instrument, rig.temperament, rig.drop, rig.reference_hz,
        points=scene.points() if scene else (),
        played=scene.states if scene else (),
    )  # fmt: skip


def _scene(planned: AskedOrder) -> Scene | None:
    try:
        scene: Scene | None = shelf.take("scenes", planned.scene) if planned.scene else None
    except TonegenError:
        return None
    return scene if scene and scene.instrument.name == planned.rig.instrument.name else None


def _tuned_alike(one: Rig, other: Rig) -> bool:
    """To the same offsets and reference pitch, with the same drop."""
    if one is other:
        return True
    if (one.instrument, one.reference_hz) != (other.instrument, other.reference_hz):
        return False
    sag, other_sag = one.drop, other.drop
    if (sag.cents, sag.combinations) != (other_sag.cents, other_sag.combinations):
        return False
    points = {*one.instrument.tuning_points(), *one.moved, *other.moved}
    return all(
        one.temperament.offset_cents(one.instrument, point)
        == other.temperament.offset_cents(one.instrument, point)
        for point in points
    )


def plan_of(order: Order | None, listening: Listening | None, stale: bool) -> OrderView:
    """The plan in the words of the page."""
    if order is None:
        return NO_PLAN
    return OrderView(
        tuple(_step_view(step, order) for step in order.steps),
        tuple(_check_view(check, order) for check in order.checks),
        order.cautions,
        listening.at if listening else -1,
        listening.heard if listening else StepHeard.BOTH,
        stale,
    )


def voice_of(listening: Listening, rig: Rig) -> Voice:
    """The tones of the step that are heard, as the pages know them."""
    tones = tuple(replace(tone, name=(LOW, HIGH)[int(tone.name)]) for tone in listening.tones(rig.timbre))
    return Voice(tones, listening.sounding() if len(tones) == 2 else None)


def _node(node: Node, order: Order) -> str:
    if not isinstance(node, TuningPoint):
        return str(node)
    return f"{node}, {order.instrument.note(node)}"


def _step_view(step: TuningStep, order: Order) -> TuningStepView:
    return TuningStepView(
        tune=_node(step.tune, order),
        against=_node(step.against, order),
        engaged=str(step.state) if step.state.travels else "no pedals",
        bar="open" if step.fret == 0 else f"fret {step.fret:g}",
        count=step.count,
        rate=rate_and_side(step.beats_per_second),
        interval=f"{step.ratio} {step.ratio.name}".rstrip(),
        listen=f"{step.coincident_hz:.0f} Hz, {step.pair}",
        sounds_like=step.sounds_like,
        sure=f"{step.accuracy_cents:.1f} cents",
        beats_per_second=step.beats_per_second,
        audible=audible(step.beats_per_second).value,
    )


def _check_view(check: Check, order: Order) -> CheckView:
    pair = f"{_node(check.low, order)} with {_node(check.high, order)}"
    return CheckView(
        f"{pair}: {check.ratio} {check.ratio.name}".rstrip(),
        f"with {check.state}" if check.state.travels else "no pedals",
        rate_and_side(check.beats_per_second),
        beats_a_second(check.within_beats_per_second, 2),
    )
