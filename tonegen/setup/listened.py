"""What is listened for: the strings of a rig as they would sound at their targets."""

from collections.abc import Mapping
from typing import Final

from tonegen.instrument import State, TuningPoint
from tonegen.listen.learned import LearnedString
from tonegen.listen.spectrum import Expected
from tonegen.reads import Reading, reading
from tonegen.setup.rig import Rig
from tonegen.wire import stiffness_elsewhere

NOTHING: Final[Mapping[TuningPoint, LearnedString]] = {}


def target(rig: Rig, string: int, state: State, fret: float) -> Reading:
    """What a string would read if it stood at its target."""
    return reading(rig.instrument, rig.temperament, rig.drop, rig.reference_hz, string, state, fret)


def expected(rig: Rig, each: Reading, learned: Mapping[TuningPoint, LearnedString] = NOTHING) -> Expected:
    """The same, as it is listened for; by what was learned of the string, where it was.

    The bar, and what a change moves, leave a string's stiffness, but not its partials' own ways: those
    belong to
    their frequencies on this body.
    """
    fret = each.tone.fret or 0.0
    point = rig.instrument.point(each.string, each.state)
    known, opened = learned.get(point), learned.get(TuningPoint(each.string))
    if known is not None and fret == 0:
        return Expected(each.string, each.tone.name, each.tone.hz, known.stiffness, known.ways)
    if opened is None:
        stiffness = rig.instrument.stiffness(each.string, each.state, fret)
    else:
        raised = rig.instrument.raised_semitones(point)
        bar = rig.instrument.string(each.string).bar_semitones(fret)
        stiffness = float(stiffness_elsewhere(opened.stiffness, raised, bar))
    return Expected(each.string, each.tone.name, each.tone.hz, stiffness)
