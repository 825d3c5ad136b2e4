"""How stiff the strings of a plan are, and how far that may be wrong.

A stiff string's partials lie sharp of whole multiples, so a beat that is counted at partial n says where the
first partial is only as well as B is known. How well it is known is our judgement (common practice, no
source): plain wire, or a core that was measured, to a tenth; the usual core of a wound string to 0.4, since
B goes with the fourth power of its diameter. Of a string whose wire nobody told, nothing is reckoned, and
it may be as stiff as those that are told mostly are.
"""

from typing import Final

from tonegen.instrument import Instrument, State, String, TuningPoint
from tonegen.interval import partial_slope_cents
from tonegen.wire import open_stiffness, stiffness_elsewhere

_KNOWN: Final = 0.1
_USUAL_CORE: Final = 0.4
# Root mean square B of the open strings in our own presets with gauges: 0.4 to 1.7 ten thousandths.
_UNKNOWN: Final = 8e-5


def open_stiffness_error(string: String) -> float:
    """Standard deviation of an open string's B.

    >>> from tonegen.presets import instrument
    >>> plain, wound = (instrument("e9-ten-string").string(number) for number in (6, 10))
    >>> [round(open_stiffness_error(each) / each.stiffness, 2) for each in (plain, wound)]
    [0.1, 0.4]
    """
    if string.stiffness is None:
        return _UNKNOWN
    wire = string.wire
    guessed = (
        wire is not None
        and wire.wound
        and wire.core_inches is None
        and string.stiffness == open_stiffness(wire, None, string.open_key)
    )
    return string.stiffness * (_USUAL_CORE if guessed else _KNOWN)


def stiffness_of(
    instrument: Instrument, point: TuningPoint, state: State, fret: float
) -> tuple[float, float]:
    """B of a string in a state under the bar, 0 where nothing is known, and its standard deviation."""
    string = instrument.string(point.string)
    raised, barred = instrument.raised_semitones(point), string.bar_semitones(fret)
    error = float(stiffness_elsewhere(open_stiffness_error(string), raised, barred))
    return instrument.stiffness(point.string, state, fret) or 0.0, error


def partial_error_cents(partial: int, stiffness: float, error: float) -> float:
    """How much sharper a partial is, over the first, when B is one standard deviation above what is reckoned.

    >>> partial_error_cents(1, 1e-4, 1e-5), round(partial_error_cents(8, 1e-4, 1e-5), 3)
    (0.0, 0.542)
    """
    return error * partial_slope_cents(float(partial), stiffness)
