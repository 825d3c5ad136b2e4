"""The tree of least variance: by which step each point is tuned, and how sure it is in the end."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from heapq import heappop, heappush
from math import sqrt
from typing import Final

from tonegen.instrument import Instrument, TuningPoint
from tonegen.order.steps import Node, Reference, TuningStep

_TONE: Final = Reference("a tone", 0.0)  # by itself it is never wrong


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


def in_playing_order(
    instrument: Instrument, reached: Mapping[TuningPoint, TuningStep]
) -> tuple[TuningStep, ...]:
    """Open strings first, then change after change, each step after what it is heard against."""
    rank = {change.name: number for number, change in enumerate(instrument.changes, start=1)}
    waiting: dict[Node, list[TuningStep]] = {}
    for step in reached.values():
        waiting.setdefault(step.against, []).append(step)
    queue: list[tuple[tuple[int, ...], float, TuningPoint]] = []

    def release(node: Node) -> None:
        for step in waiting.get(node, ()):
            order = tuple(sorted(rank[name] for name in step.tune.changes))
            heappush(queue, ((len(order), *order), step.accuracy_cents, step.tune))

    for start in [node for node in waiting if isinstance(node, Reference)]:
        release(start)
    steps = []
    while queue:
        _, _, point = heappop(queue)
        accuracy = sqrt(variance_between(point, _TONE, reached))
        steps.append(replace(reached[point], accuracy_cents=accuracy))
        release(point)
    return tuple(steps)


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
