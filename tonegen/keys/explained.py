"""Why keys that follow the chord stand where they do: what each neighbour asks of a note that sounds."""

from collections.abc import Sequence
from dataclasses import dataclass

from tonegen.interval import Ratio
from tonegen.keys.chords import asked_of_pair


@dataclass(frozen=True, slots=True)
class KeyWish:
    """What a neighbour asks of a note.

    key : the neighbour's. ratio : what their interval stands for. wants_cents : the offset that would make it
    just. share : of all that neighbours ask, 0 to 1. elsewhere : whether others sound it, such as the steel.
    """

    key: int
    ratio: Ratio
    wants_cents: float
    share: float
    elsewhere: bool


@dataclass(frozen=True, slots=True)
class KeyExplained:
    """A note that sounds, the offset that it got, and who asked for what, the strongest first."""

    key: int
    cents: float
    wishes: tuple[KeyWish, ...]


def explained(
    notes: Sequence[tuple[int, float]], others: Sequence[tuple[int, float]] = ()
) -> tuple[KeyExplained, ...]:
    """Key and offset of what sounds, and of what others sound, made into reasons; the lowest note first.

    >>> _, e = explained([(60, 0.0), (64, -13.7)])
    >>> [(wish.key, str(wish.ratio), round(wish.wants_cents, 1)) for wish in e.wishes]
    [(60, '5:4', -13.7)]
    """
    found = []
    for place, (key, cents) in enumerate(notes):
        around = [(*one, False) for at, one in enumerate(notes) if at != place]
        around += [(*one, True) for one in others]
        asked = [
            (*one, *asked_of_pair(key - one[0], cents - one[1])) for one in around if one[0] != key or one[2]
        ]
        total = sum(weight for *_, weight, _, _ in asked)
        wishes = [
            KeyWish(other, ratio, there + apart, weight / total, elsewhere)
            for other, there, elsewhere, weight, apart, ratio in asked
        ]
        wishes.sort(key=lambda wish: (-wish.share, wish.key))
        found.append(KeyExplained(key, cents, tuple(wishes)))
    return tuple(sorted(found, key=lambda one: one.key))
