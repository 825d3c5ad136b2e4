"""Why a string stands where it does: what each neighbour wishes of it, its share, and where wishes clash."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Final

from tonegen.instrument import DEGREES
from tonegen.interval import Ratio, beats_per_second
from tonegen.pitch import hz_from_key
from tonegen.tunings.records import Rule, StoredTuning, WishedInterval
from tonegen.tunings.rules import DEGREES_BY_SEMITONE, KEYBOARD
from tonegen.tunings.solve import SolvedTuning, solved
from tonegen.words import rate_and_side

# Wishes nearer to each other than this are one; further apart they are heard as a clash (the bound is ours).
LEAST_APART_CENTS: Final = 2.0
_MAJOR: Final = frozenset({0, 2, 4, 5, 7, 9, 11})
# The just scale that a key is tuned to, by semitones above it: five-limit, as degrees of a grip are.
_JUST: Final = tuple(
    DEGREES[degree].cents - 100 * semitones for semitones, degree in enumerate(DEGREES_BY_SEMITONE)
)
_SAME_CENTS, _SAME_DIGITS = 1e-6, 6


@dataclass(frozen=True, slots=True)
class StringWish:
    """What one neighbour, or one shape, wishes of a string.

    wished_cents : the offset that would make it pure; share : how much it counts, of 1 in all.
    beats_per_second : of the interval as tuned; of a shape's, of the one that beats fastest; None where no
        two tones sound together.
    """

    who: str
    why: str
    wished_cents: float
    share: float
    beats_per_second: float | None

    @property
    def rate(self) -> str:
        """How it beats, in words; "" where nothing can."""
        return "" if self.beats_per_second is None else rate_and_side(self.beats_per_second)


@dataclass(frozen=True, slots=True)
class StringClash:
    """The two wishes of a string that lie furthest apart.

    gone_in : keys, by name, in which nothing would be left of it.
    """

    low: StringWish
    high: StringWish
    gone_in: tuple[str, ...]

    @property
    def apart_cents(self) -> float:
        """How far apart they lie."""
        return self.high.wished_cents - self.low.wished_cents

    @property
    def gone(self) -> str:
        """Where nothing would be left of it, in words."""
        return f"gone in {' or '.join(self.gone_in)} alone" if self.gone_in else "gone in no key"


@dataclass(frozen=True, slots=True)
class ExplainedNote:
    """A note of a tuning with all that is wished of it; the offset is their mean by share."""

    place: int
    offset_cents: float
    wishes: tuple[StringWish, ...]
    clash: StringClash | None


def explained(found: SolvedTuning, place: int) -> ExplainedNote:
    """Why the note at a place stands where it does."""
    wishes = _wishes(found, place)
    return ExplainedNote(place, float(found.offsets_cents[place]), wishes, _clash(found, place, wishes))


def _wishes(found: SolvedTuning, place: int) -> tuple[StringWish, ...]:
    """By neighbour, or by shape."""
    tuning = found.tuning
    touching = [wish for wish in tuning.wishes if place in (wish.low, wish.high)]
    whole = sum(wish.weight for wish in touching)
    return tuple(
        _wish(found, place, list(group), whole)
        for _, group in groupby(touching, key=lambda wish: wish.chord or _neighbour(wish, place))
    )


def _wish(found: SolvedTuning, place: int, group: list[WishedInterval], whole: float) -> StringWish:
    tuning, weight = found.tuning, sum(wish.weight for wish in group)
    wished = sum(wish.weight * _wished_cents(found, wish, place) for wish in group) / weight
    first = group[0]
    beats = (
        None
        if first.ratio is None
        else max((_beats(found, wish, wish.ratio) for wish in group if wish.ratio), key=abs)
    )
    if first.chord:
        strings = ", ".join(f"{tuning.number(_neighbour(wish, place))}" for wish in group)
        return StringWish(first.chord, f"with strings {strings}", wished, weight / whole, beats)
    other = tuning.called(_neighbour(first, place))
    return StringWish(other, _why(first), wished, weight / whole, beats)


def _why(wish: WishedInterval) -> str:
    if wish.ratio is None:
        return "length of its tubes"
    off = (wish.ratio.cents - wish.cents) % 100
    tempered = ", tempered" if min(off, 100 - off) > _SAME_CENTS else ""
    return f"{wish.ratio.name} {wish.ratio}{tempered}".strip()


def _neighbour(wish: WishedInterval, place: int) -> int:
    return wish.high if place == wish.low else wish.low


def _wished_cents(found: SolvedTuning, wish: WishedInterval, place: int) -> float:
    other = float(found.offsets_cents[_neighbour(wish, place)])
    return other + wish.cents if place == wish.high else other - wish.cents


def _beats(found: SolvedTuning, wish: WishedInterval, ratio: Ratio) -> float:
    """The beat of an interval as tuned, at A4 = 440 Hz, whichever of its notes is above the other."""
    (low, low_hz), (high, high_hz) = (
        (key, hz_from_key(key, found.offsets_cents[place]))
        for key, place in (
            (found.tuning.notes[place].key + fret, place)
            for place, fret in zip((wish.low, wish.high), wish.frets, strict=True)
        )
    )
    ratio = ratio.shifted(round((high - low - ratio.cents / 100) / 12))
    if ratio.upper >= ratio.lower:
        return float(beats_per_second(low_hz, high_hz, ratio))
    return float(beats_per_second(high_hz, low_hz, Ratio(ratio.lower, ratio.upper)))


def _clash(found: SolvedTuning, place: int, wishes: tuple[StringWish, ...]) -> StringClash | None:
    if not wishes:
        return None
    low, high = _furthest_apart(wishes)
    if high.wished_cents - low.wished_cents <= LEAST_APART_CENTS:
        return None
    gone = _gone_in_shapes if found.tuning.rule is Rule.SHAPES else _gone_in_scales
    return StringClash(low, high, tuple(KEYBOARD[key] for key in gone(found.tuning, place)))


def _furthest_apart(wishes: tuple[StringWish, ...]) -> tuple[StringWish, StringWish]:
    """Of strings an octave apart, which wish the same but for a rounding, the one that is named last."""

    def wished(wish: StringWish) -> float:
        return round(wish.wished_cents, _SAME_DIGITS)

    return min(reversed(wishes), key=wished), max(reversed(wishes), key=wished)


def _gone_in_scales(tuning: StoredTuning, place: int) -> Iterable[int]:
    """Major keys with this note and its neighbours, whose just scale has every interval between them pure."""
    touching = [wish for wish in tuning.wishes if place in (wish.low, wish.high)]
    for key in range(12):
        if not all(_in_key(tuning, wish, key) for wish in touching):
            continue
        cents = [_JUST[(note.key - key) % 12] for note in tuning.notes]
        if all(abs(cents[wish.high] - cents[wish.low] - wish.cents) < _SAME_CENTS for wish in touching):
            yield key


def _gone_in_shapes(tuning: StoredTuning, place: int) -> Iterable[int]:
    """Keys whose own chords, two of them at least on this string, wish it at one pitch."""
    for key in range(12):
        kept = tuple(wish for wish in tuning.wishes if _in_key(tuning, wish, key))
        whole = {wish.chord for wish in kept} - {wish.chord for wish in tuning.wishes if wish not in kept}
        kept = tuple(wish for wish in kept if wish.chord in whole)
        on_string = {wish.chord for wish in kept if place in (wish.low, wish.high)}
        if len(on_string) > 1:
            low, high = _furthest_apart(_wishes(solved(replace(tuning, wishes=kept)), place))
            if high.wished_cents - low.wished_cents <= LEAST_APART_CENTS:
                yield key


def _in_key(tuning: StoredTuning, wish: WishedInterval, key: int) -> bool:
    return all(
        (tuning.notes[place].key + fret - key) % 12 in _MAJOR
        for place, fret in zip((wish.low, wish.high), wish.frets, strict=True)
    )
