"""The tree of least variance: by which step each point is tuned, and how sure it is in the end."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from heapq import heappop, heappush
from math import hypot, sqrt
from typing import Final

from tonegen.instrument import Instrument, State, TuningPoint
from tonegen.order.steps import Node, Reference, TuningStep

_TONE: Final = Reference("a tone", 0.0)  # by itself it is never wrong
# A way is about as sure as the surest where it leaves a point at most a tenth wider: nobody hears that.
_ABOUT_AS_SURE: Final = 1.1


def least_variance_tree(
    points: Sequence[TuningPoint], starts: Sequence[Reference], edges: Sequence[TuningStep]
) -> dict[TuningPoint, TuningStep]:
    """For each point that can be reached the step that tunes it (Dijkstra, on variances).

    What stiffness does is taken as wrong anew at every step while the tree grows.
    """
    reached: dict[TuningPoint, TuningStep] = {}
    _spread([(0.0, start) for start in starts], reached, edges)
    return reached


def relax_from(
    point: TuningPoint, reached: dict[TuningPoint, TuningStep], edges: Sequence[TuningStep]
) -> None:
    """Reach from a point that was tuned to a tone of its own what is surer, or first reached, from there."""
    _spread([(reached[point].accuracy_cents ** 2, point)], reached, edges)


def _spread(
    sources: list[tuple[float, Node]], reached: dict[TuningPoint, TuningStep], edges: Sequence[TuningStep]
) -> None:
    by_source: dict[Node, list[TuningStep]] = {}
    for edge in edges:
        by_source.setdefault(edge.against, []).append(edge)
    queue: list[tuple[float, int, Node]] = []
    for number, (variance, node) in enumerate(sources):
        heappush(queue, (variance, number, node))
    pushed = len(queue)
    while queue:
        variance, _, node = heappop(queue)
        if isinstance(node, TuningPoint) and variance > reached[node].accuracy_cents ** 2 * (1 + 1e-12):
            continue
        for edge in by_source.get(node, ()):
            total = sqrt(variance + edge.error_cents**2)
            known = reached.get(edge.tune)
            if known is None or total < known.accuracy_cents * (1 - 1e-12):
                reached[edge.tune] = replace(edge, accuracy_cents=total)
                heappush(queue, (total**2, pushed, edge.tune))
                pushed += 1


def fewest_engaged(
    surest: Mapping[TuningPoint, TuningStep], edges: Sequence[TuningStep]
) -> dict[TuningPoint, TuningStep]:
    """The tree of the fewest changes engaged, in which each point is about as sure as in the surest one.

    Points are taken from the surest on: each from one that was taken before. Where that one is a tenth wider
    at most, so is the surest step from it, hence there is always a way.
    """
    ways: dict[TuningPoint, list[TuningStep]] = {point: [step] for point, step in surest.items()}
    for edge in edges:
        ways[edge.tune].append(edge)
    taken: dict[TuningPoint, TuningStep] = {}

    def accuracy(step: TuningStep) -> float:
        before = taken[step.against].accuracy_cents if isinstance(step.against, TuningPoint) else 0.0
        return hypot(before, step.error_cents)

    for point in sorted(surest, key=lambda point: surest[point].accuracy_cents):
        within = _ABOUT_AS_SURE * surest[point].accuracy_cents
        steps = [
            replace(step, accuracy_cents=accuracy(step))
            for step in ways[point]
            if step.against in taken or isinstance(step.against, Reference)
        ]
        taken[point] = min(
            (step for step in steps if step.accuracy_cents <= within),
            key=lambda step: (len(step.state.changes), step.accuracy_cents),
        )
    return taken


def in_playing_order(
    instrument: Instrument, reached: Mapping[TuningPoint, TuningStep]
) -> tuple[TuningStep, ...]:
    """Open strings first, each step after what it is heard against, and steps of one state side by side.

    The next state is one that can be gone through whole, if there is one, and the nearest: fewest pedals and
    levers move from one to the next.
    """
    rank = {change.name: number for number, change in enumerate(instrument.changes)}
    left = dict(reached)
    steps: list[TuningStep] = []

    def in_state(state: State, fret: float) -> list[TuningStep]:
        return [step for step in left.values() if (step.state, step.fret) == (state, fret)]

    def cannot_be_ended(state: State, fret: float) -> bool:
        """Whether a step in this state waits for one in another."""
        there = {step.tune: step for step in in_state(state, fret)}
        return any(step.against in left and step.against not in there for step in there.values())

    def cost(step: TuningStep) -> tuple[object, ...]:
        here, state = steps[-1].state.travels if steps else {}, step.state.travels
        moved = [name for name in {**here, **state} if here.get(name) != state.get(name)]
        same = bool(steps) and (step.state, step.fret) == (steps[-1].state, steps[-1].fret)
        return (
            bool(step.tune.changes),
            not same,
            cannot_be_ended(step.state, step.fret),
            len(moved),
            len(state),
            [rank[name] for name in state],
            step.accuracy_cents,
            step.tune,
        )

    while left:
        best = min((step for step in left.values() if step.against not in left), key=cost)
        steps.append(best)
        del left[best.tune]
    return tuple(
        replace(step, accuracy_cents=sqrt(variance_between(step.tune, _TONE, reached))) for step in steps
    )


def variance_between(
    first: Node, second: Node, tree: Mapping[TuningPoint, TuningStep], closing: TuningStep | None = None
) -> float:
    """Variance in square cents of the interval between two points, as tuned by the steps of a tree.

    Counting is wrong anew at every step, and steps that both rest on cancel; a string is as stiff as it is
    all the time, so what it does in several steps adds up, or cancels. closing : a step between the two, of
    which only the stiffness counts: how far its beats are then from where they should be.
    """
    counting: dict[TuningPoint, float] = {}
    stiffness: dict[int, float] = {}

    def take(step: TuningStep, sign: int) -> None:
        for string, cents in step.stiffness_error_cents:
            stiffness[string] = stiffness.get(string, 0.0) + sign * cents

    for end, sign in ((first, 1), (second, -1)):
        node = end
        while isinstance(node, TuningPoint):
            step = tree[node]
            if node in counting:
                del counting[node]
            else:
                counting[node] = step.counting_error_cents**2
            take(step, sign)
            node = step.against
    if closing is not None:
        take(closing, -1)
    return sum(counting.values()) + sum(cents**2 for cents in stiffness.values())
