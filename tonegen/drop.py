"""Cabinet drop: how far strings sag because changes are engaged that pull other strings.

Pedals and levers load the cabinet, it gives, and every string goes flat a little. *Drop* is in cents, signed:
a string that sags has a negative drop. It adds over changes, unless they were measured together:

>>> soft = Drop("soft", {"A": {4: -2.0}, "B": {4: -1.0}}, {frozenset("AB"): {4: -2.5}})
>>> soft.of(4, {"A": 1}), soft.of(4, {"B": 1}), soft.of(4, {"A": 1, "B": 1})
(-2.0, -1.0, -2.5)

A string that a change moves was tuned with that change engaged, so that the drop of its own changes is in the
tuning already, and only what the others do is heard: `Drop.since_tuned`.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from tonegen.frozen import Frozen
from tonegen.instrument import Instrument, State


@dataclass(frozen=True, slots=True)
class Drop(Frozen):
    """How far strings sag when changes are engaged, as it was measured on one cabinet.

    cents : by change, then by string. combinations : measured together, which win over the sum.
    """

    name: str
    cents: Mapping[str, Mapping[int, float]]
    combinations: Mapping[frozenset[str], Mapping[int, float]] = field(default_factory=dict)
    title: str = ""

    def of(self, string: int, travels: Mapping[str, float]) -> float:
        """Drop of a string in cents, when changes are engaged by these travels.

        Additive over changes; a measured combination, largest first, replaces the sum of its parts.
        Everything is linear in travel, a combination in the least travel of its changes.

        >>> soft = Drop("soft", {"A": {4: -2.0}, "B": {4: -1.0}})
        >>> soft.of(4, {"A": 1, "B": 1}), soft.of(4, {"A": 0.5}), soft.of(5, {"A": 1})
        (-3.0, -1.0, 0.0)
        """
        single = {change: self.cents.get(change, {}).get(string, 0.0) for change in travels}
        total = sum(travel * single[change] for change, travel in travels.items())
        measured = {names: cents[string] for names, cents in self.combinations.items() if string in cents}
        for combination in combinations_engaged(travels, measured):
            excess = measured[combination] - sum(single[change] for change in combination)
            total += excess * min(travels[change] for change in combination)
        return total

    def since_tuned(self, instrument: Instrument, string: int, state: State) -> float:
        """Drop of a string in a state, counted from where it was tuned: with only its own changes engaged.

        drop(s, P) - drop(s, own changes of s in P), as the player reads each stop with its own change alone.

        >>> from tonegen.instrument import Change, String
        >>> strings, changes = (String(1, 68), String(2, 64)), (Change("A", {1: 2}), Change("B", {2: 1}))
        >>> rig = Instrument("two strings", "", strings, changes)
        >>> soft = Drop("soft", {"A": {1: -3.0, 2: -2.0}, "B": {1: -1.0}})
        >>> both = rig.state(["A", "B"])
        >>> soft.since_tuned(rig, 1, both), soft.since_tuned(rig, 2, both)  # A is in the tuning of string 1
        (-1.0, -2.0)
        """
        return self.of(string, state.travels) - self.of(string, instrument.own_changes(string, state))

    def checked_on(self, instrument: Instrument) -> "Drop":
        """This profile, if the instrument has its changes and strings. Raises BadValue otherwise.

        >>> from tonegen.presets import instrument
        >>> Drop("mine", {"A": {11: -1.0}}).checked_on(instrument("e9-ten-string"))
        Traceback (most recent call last):
        tonegen.errors.BadValue: e9-ten-string has no string 11; it has strings 1 to 10
        """
        for change in {*self.cents, *(name for names in self.combinations for name in names)}:
            instrument.change(change)
        for cents in (*self.cents.values(), *self.combinations.values()):
            for string in cents:
                instrument.string(string)
        return self


def combinations_engaged(
    engaged: Iterable[str], combinations: Iterable[frozenset[str]]
) -> Iterator[frozenset[str]]:
    """Which combinations hold with these changes engaged: the largest first, no change in two of them.

    >>> [sorted(names) for names in combinations_engaged("ABC", [frozenset("BC"), frozenset("AB")])]
    [['A', 'B']]
    """
    left = set(engaged)
    for combination in sorted(combinations, key=lambda names: (-len(names), sorted(names))):
        if combination <= left:
            left -= combination
            yield combination


NO_DROP: Final = Drop("none", {})
