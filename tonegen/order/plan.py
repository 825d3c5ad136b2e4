"""A plan for tuning by ear: what to tune against what, how fast it must beat, and how sure the result is.

Tuning points and reference tones are the nodes of a graph; its edges are intervals that can be sounded in
some state, each with the uncertainty in cents of counting its beats and of the strings' stiffness. The plan
is a tree: open strings from open strings, then each change from what is tuned. No step engages what the body
cannot hold, nor a state that neither a grip nor one of its two points needs. Of the ways to a point that are
about as sure as the one with the least accumulated variance, that with the fewest changes engaged is taken.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import log, sqrt
from typing import Final

from tonegen.drop import Drop
from tonegen.errors import BadValue
from tonegen.instrument import Instrument, State, TuningPoint
from tonegen.interval import Ratio
from tonegen.order.edges import StringsToTune
from tonegen.order.steps import Check, Node, Order, Reference, TuningStep
from tonegen.order.tree import (
    fewest_engaged,
    in_playing_order,
    least_variance_tree,
    relax_from,
    variance_between,
)
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
    played: Sequence[State] = (),
) -> Order:
    """The plan for an instrument in a temperament.

    points : what to tune; all tuning points if none are given. references : tones to start from; if none, the
    program plays the highest open string that is the instrument's root. frets : bar positions to listen at.
    ratios : use only intervals that stand for these (for comparing plans). stiff : reckon with the strings'
    own stiffness; targets are of the first partial all the same. played : states of the grips that matter; if
    none are given, those of the instrument's own. A point that nothing can be heard against is tuned
    to its own tone, played by the program. Raises BadValue for frets off the neck, and for references of one
    name at different frequencies.

    >>> from tonegen.presets import instrument
    >>> from tonegen.drop import NO_DROP
    >>> from tonegen.temperament import EQUAL
    >>> first = tuning_order(instrument("e9-ten-string"), EQUAL, NO_DROP, 440.0).steps[0]
    >>> str(first.tune), str(first.against), str(first.ratio)
    ('string 4 open', 'tone E4 (329.63 Hz)', '1:1')
    >>> first.pair, first.count  # third partials: the string is stiff, the tone is not
    ('partial 3 of the lower with 3 of the upper',
     '1.3 beats in 10 seconds, wide: tune it pure, then raise it')
    """
    states = played or [instrument.state(grip.changes) for grip in instrument.grips]
    rig = StringsToTune(instrument, temperament, drop, reference_hz, stiff, states)
    wanted = tuple(dict.fromkeys(points or instrument.tuning_points()))
    tones = list(references) or [rig.tone_of(rig.root_string(wanted))]
    if len({tone.name for tone in tones}) < len(set(tones)):
        raise BadValue("two reference tones have one name; give each a name of its own")
    starts = tuple(tones)
    checked = [instrument.checked_fret(fret) for fret in frets]
    edges = [
        edge
        for edge in rig.edges(wanted, starts, checked)
        if not ratios or _within_octave(edge.ratio) in ratios
    ]
    reached = least_variance_tree(wanted, starts, edges)
    for point in wanted:
        if point not in reached:
            reached[point] = rig.unison(point, _own_tone(rig.tone_of(point), tones))
            relax_from(point, reached, edges)
    steps = in_playing_order(instrument, fewest_engaged(reached, edges))
    unknown = instrument.of_unknown_wire(point.string for point in wanted) if stiff else ()
    return Order(instrument, steps, _checks(steps, edges), unknown)


def _own_tone(tone: Reference, tones: list[Reference]) -> Reference:
    """A tone beside those that are there: one of them where it is the same, else under a name of its own."""
    for other in tones:
        if other.hz == tone.hz:
            return other
    alike = sum(other.name.partition(" (")[0] == tone.name for other in tones)
    tones.append(replace(tone, name=f"{tone.name} ({alike + 1})") if alike else tone)
    return tones[-1]


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
