"""What moves the changes: one foot on the pedals and two knees at the levers, and what they hold at once.

Common practice, no source: a foot presses one pedal, or two that lie side by side; a knee moves one lever. A
change that neither moves, such as a lever with a lock, is held by itself.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Final


@dataclass(frozen=True, slots=True)
class Body:
    """Who moves what; of an empty one nothing is known, and it holds anything.

    foot : its pedals, in the order in which they lie. knees : the levers of each.
    together : changes of one foot, or of one knee, that it holds at once all the same.
    """

    foot: tuple[str, ...] = ()
    knees: tuple[tuple[str, ...], ...] = ()
    together: tuple[frozenset[str], ...] = ()

    def holds(self, changes: Iterable[str]) -> bool:
        """Whether these changes can be held down together.

        >>> body = Body(("A", "B", "C"), (("F", "E"), ("D", "G")))
        >>> [body.holds(each) for each in ("AB", "BC", "AC", "AF", "ABFG", "FE")]
        [True, True, False, True, True, False]
        >>> Body(("A", "B", "C"), together=(frozenset("ABC"),)).holds("AC")
        True
        """
        engaged = frozenset(changes)
        side_by_side = {frozenset(pair) for pair in pairwise(self.foot)}
        for limb in (self.foot, *self.knees):
            own = engaged.intersection(limb)
            if len(own) > 1 and own not in side_by_side and not any(own <= group for group in self.together):
                return False
        return True


HOLDS_ANYTHING: Final = Body()
