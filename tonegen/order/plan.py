"""A plan for tuning by ear: what to tune against what, how fast it must beat, and how sure the result is.

Tuning points and reference tones are the nodes of a graph; its edges are intervals that can be sounded in
some state, each with the uncertainty in cents of counting its beats and of the strings' stiffness. The plan
is the tree in which every point has the least accumulated variance: open strings from open strings, then
each change from what is tuned.
"""

from collections.abc import Sequence
from math import log, sqrt
from typing import Final

from tonegen.drop import Drop
from tonegen.instrument import Instrument, TuningPoint
from tonegen.interval import Ratio
from tonegen.order.edges import StringsToTune
from tonegen.order.steps import Check, Node, Order, Reference, TuningStep
from tonegen.order.tree import in_playing_order, least_variance_tree, relax_from, variance_between
from tonegen.temperament import Temperament

_MOST_CHECKS: Final = 8


def tuning_order(
    instrument: Instrument,
    temperament: Temperament,
    drop: Drop,
    reference_hz: float,
    *,
    points: Sequence[TuningPoint] = (),
    references: Sequence[Reference] = (),
    frets: Sequence[float] = (0.0,),
    ratios: Sequence[Ratio] = (),
    stiff: bool = True,
) -> Order:
    """The plan for an instrument in a temperament.

    points : what to tune; all tuning points if none are given. references : tones to start from; if none, the
    program plays the highest open string that is the instrument's root. frets : bar positions to listen at.
    ratios : use only intervals that stand for these (for comparing plans). stiff : reckon with the strings'
    own stiffness; targets are of the first partial all the same. A point that nothing can be heard
    against is tuned to its own tone, played by the program. Raises BadValue for frets off the neck.

    >>> from tonegen.presets import instrument
    >>> from tonegen.drop import NO_DROP
    >>> from tonegen.temperament import EQUAL
    >>> first = tuning_order(instrument("e9-ten-string"), EQUAL, NO_DROP, 440.0).steps[0]
    >>> str(first.tune), str(first.against), str(first.ratio)
    ('string 5 open', 'tone E4 (329.63 Hz)', '4:3')
    >>> first.count
    '5 beats in 10 seconds, wide: tune it pure, then lower it'
    """
    rig = StringsToTune(instrument, temperament, drop, reference_hz, stiff)
    wanted = tuple(dict.fromkeys(points or instrument.tuning_points()))
    starts = tuple(references) or (rig.tone_of(rig.root_string(wanted)),)
    checked = [instrument.checked_fret(fret) for fret in frets]
    edges = [
        edge
        for edge in rig.edges(wanted, starts, checked)
        if not ratios or _within_octave(edge.ratio) in ratios
    ]
    reached = least_variance_tree(wanted, starts, edges)
    for point in wanted:
        if point not in reached:
            reached[point] = rig.unison(point)
            relax_from(point, reached, edges)
    steps = in_playing_order(instrument, reached)
    unknown = {point.string for point in wanted if instrument.string(point.string).stiffness is None}
    return Order(instrument, steps, _checks(steps, edges), tuple(sorted(unknown)) if stiff else ())


def _within_octave(ratio: Ratio) -> Ratio:
    while ratio.upper > 2 * ratio.lower:
        ratio = ratio.shifted(-1)
    return ratio


def _checks(steps: Sequence[TuningStep], edges: Sequence[TuningStep]) -> tuple[Check, ...]:
    """The loops that tell most: where the tree's own error is largest beside that of counting the check."""
    tree = {step.tune: step for step in steps}
    used = {frozenset((step.tune, step.against)) for step in steps}
    told: dict[frozenset[Node], tuple[float, float, TuningStep]] = {}
    for edge in edges:
        pair = frozenset((edge.tune, edge.against))
        if pair in used or not isinstance(edge.against, TuningPoint):
            continue
        loop = variance_between(edge.tune, edge.against, tree, edge)
        if pair not in told or edge.counting_error_cents < told[pair][2].counting_error_cents:
            told[pair] = (loop / edge.counting_error_cents**2, loop, edge)
    times: dict[Node, int] = {}
    checks = []
    for _, loop, edge in sorted(told.values(), key=lambda each: -each[0]):
        if any(times.get(node, 0) >= 2 for node in (edge.tune, edge.against)):
            continue
        for node in (edge.tune, edge.against):
            times[node] = times.get(node, 0) + 1
        per_cent = edge.coincident_hz * log(2) / 1200
        within = 2 * sqrt(loop + edge.counting_error_cents**2) * per_cent
        low, high = (edge.against, edge.tune) if edge.tune_is_high else (edge.tune, edge.against)
        checks.append(
            Check(
                low,
                high,
                edge.state,
                edge.fret,
                edge.ratio,
                edge.beats_per_second,
                edge.coincident_hz,
                within,
            )
        )
        if len(checks) == _MOST_CHECKS:
            break
    return tuple(checks)
