"""One function for each rule: what it wishes between the notes of a tuning.

Conventions: notes are MIDI keys in the order in which players write their strings, or what a rule makes of
its numbers. The rules do not solve anything; `solve` makes the offsets of what is wished.
"""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import cache
from itertools import combinations
from math import log2
from typing import Final

from tonegen.errors import BadValue
from tonegen.interval import Ratio
from tonegen.pitch import pitch_class_name
from tonegen.tunings.records import TuningNote, WishedInterval
from tonegen.words import signed

# What players tune pure by ear, by semitones within the octave; seconds, sevenths and tritones ask nothing
# (common practice, no source).
CONSONANCES: Final[Mapping[int, Ratio]] = {
    0: Ratio(1, 1), 3: Ratio(6, 5), 4: Ratio(5, 4), 5: Ratio(4, 3), 7: Ratio(3, 2), 8: Ratio(8, 5),
    9: Ratio(5, 3),
}  # fmt: skip
# The degree that each semitone above a root is, by the five-limit scale.
DEGREES_BY_SEMITONE: Final = ("1", "b2", "2", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7")
_FIFTHS: Final = {semitones: CONSONANCES[semitones] for semitones in (0, 5, 7)}
OCTAVES_WEIGH: Final = 4.0  # an octave that beats is heard before anything else (the weight is ours)
LAST_FRET: Final = 24
_LAST_PARTIAL: Final = 64
_FIFTH_EXCESS_CENTS: Final = Ratio(3, 2).cents - 700
COMMA_CENTS: Final[Mapping[str, float]] = {
    "pythagorean": 12 * _FIFTH_EXCESS_CENTS, "syntonic": Ratio(81, 80).cents,
}  # fmt: skip
KEYBOARD: Final = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
_EXTRA_CENTS: Final = {semitones: ratio.cents - 100 * semitones for semitones, ratio in CONSONANCES.items()}


def chord(keys: Sequence[int]) -> tuple[WishedInterval, ...]:
    """All strings together: each consonance pure, with weight 1, octaves and unisons with weight 4.

    >>> [(str(wish.ratio), round(wish.cents, 2)) for wish in chord([50, 54, 57])]  # D, F#, A
    [('5:4', -13.69), ('3:2', 1.96), ('6:5', 15.64)]
    """
    return _between(keys, CONSONANCES, OCTAVES_WEIGH)


def fifths(keys: Sequence[int], start: int) -> tuple[WishedInterval, ...]:
    """Pure fifths, fourths and octaves, each string from one that is tuned already.

    start : the place of the string that is tuned first.
    Raises BadValue naming a string that cannot be reached so.

    >>> [round(wish.cents, 3) for wish in fifths([55, 62, 69, 76], 2)][:1]  # a violin: G-D
    [1.955]
    """
    wished = _between(keys, _FIFTHS, OCTAVES_WEIGH)
    reached, before = {start}, 0
    while len(reached) > before:
        before = len(reached)
        for wish in wished:
            if {wish.low, wish.high} & reached:
                reached |= {wish.low, wish.high}
    for place, key in enumerate(keys):
        if place not in reached:
            raise BadValue(
                f"string {len(keys) - place} ({pitch_class_name(key)}) cannot be reached by fifths, fourths "
                f"and octaves from {pitch_class_name(keys[start])}; take another rule, such as chord"
            )
    return wished


def shapes(keys: Sequence[int], frets: Mapping[str, Sequence[int | None]]) -> tuple[WishedInterval, ...]:
    """Chord shapes on frets that stay where they are: each consonance of each shape, with weight 1.

    frets : by the chord's name, a fret for each string; None for one that is not played.
    Raises BadValue for another number of frets than strings, or a fret that is not on the neck.

    >>> [wish.frets for wish in shapes([40, 45], {"E5": [0, 2]})]
    [(0, 2)]
    >>> [str(wish.ratio) for wish in shapes([40, 45], {"E5": [0, 2]})]
    ['3:2']
    """
    wished = []
    for name, stopped in frets.items():
        if len(stopped) != len(keys):
            raise BadValue(
                f"{name} has {len(stopped)} frets for {len(keys)} strings; write x for a silent one"
            )
        for fret in stopped:
            if fret is not None and not 0 <= fret <= LAST_FRET:
                raise BadValue(f"{name}: fret {fret} is off the neck; frets go from 0 to {LAST_FRET}")
        played = [(place, fret) for place, fret in enumerate(stopped) if fret is not None]
        # Octaves weigh no more here: on frets none is free of what its strings play in other shapes.
        pairs = combinations([(keys[place] + fret, place, fret) for place, fret in played], 2)
        wished += [wish for low, high in pairs for wish in _wished(low, high, CONSONANCES, 1.0, name)]
    return tuple(wished)


def series(
    partials: Sequence[int], fundamental_key: int
) -> tuple[tuple[TuningNote, ...], tuple[WishedInterval, ...]]:
    """Natural partials, each against the lowest of them, which must be the fundamental's own note.

    Raises BadValue unless they rise from 1, 2, 4 or 8 and stay below the 65th.

    >>> notes, wished = series([1, 2, 3], 46)
    >>> [note.key for note in notes], [round(wish.cents, 3) for wish in wished]
    ([46, 58, 65], [0.0, 1.955])
    """
    first = partials[0]
    if first not in (1, 2, 4, 8):
        raise BadValue(f"the lowest partial is {first}; begin with 1, 2, 4 or 8, the fundamental's own note")
    if partials[-1] > _LAST_PARTIAL:
        raise BadValue(f"partial {partials[-1]} is too high; partials go to {_LAST_PARTIAL}")
    keys = [fundamental_key + round(12 * log2(partial)) for partial in partials]
    notes = tuple(TuningNote(str(partial), key) for partial, key in zip(partials, keys, strict=True))
    return notes, tuple(
        _just(0, place, Ratio(partial, first), keys[place] - keys[0])
        for place, partial in enumerate(partials)
        if place
    )


def scale(
    names: Sequence[str], keys: Sequence[int], ratios: Sequence[Ratio]
) -> tuple[tuple[TuningNote, ...], tuple[WishedInterval, ...], int]:
    """Just ratios above a note, whose own is 1:1; also the place of that note.

    Raises BadValue without a note that is 1:1, or for a ratio half a semitone off its note.

    >>> scale(["C4", "E4"], [60, 64], [Ratio(1, 1), Ratio(3, 2)])
    Traceback (most recent call last):
    tonegen.errors.BadValue: E4=3:2 is +302.0 cents off that note; put the ratio in its place
    """
    if Ratio(1, 1) not in ratios:
        raise BadValue("no note is 1:1; name the one that the ratios are counted from")
    root = list(ratios).index(Ratio(1, 1))
    for name, key, ratio in zip(names, keys, ratios, strict=True):
        off = ratio.cents - 100 * (key - keys[root])
        if abs(off) >= 50:
            raise BadValue(
                f"{name}={ratio} is {signed(off, 1)} cents off that note; put the ratio in its place"
            )
    notes = tuple(TuningNote(name, key) for name, key in zip(names, keys, strict=True))
    wished = tuple(
        _just(root, place, ratio, keys[place] - keys[root])
        for place, ratio in enumerate(ratios)
        if place != root
    )
    return notes, wished, root


def valves(
    extra_lengths: Mapping[str, float], open_key: int
) -> tuple[tuple[TuningNote, ...], tuple[WishedInterval, ...]]:
    """Valves in every combination: their tubes add, and each lowers by what its length makes of the whole.

    extra_lengths : by the valve's name, its tube as a part of the open instrument's length.
    A valve stands for the whole semitones that it lowers by alone, a combination for their sum; what is
    shorter is sharp. Raises BadValue for a valve without length, or one that lowers by less than half a
    semitone.

    >>> notes, wished = valves({"1": 2**(2/12) - 1, "2": 2**(1/12) - 1}, 58)
    >>> notes[-1].name, round(wished[-1].cents, 1)  # 1+2 is too short
    ('1+2', 10.6)
    """
    semitones = {}
    for name, length in extra_lengths.items():
        if not length > 0:
            raise BadValue(f"valve {name} has no length; write what it adds, such as 1=1/8 or 1=200.0")
        semitones[name] = round(12 * log2(1 + length))
        if semitones[name] < 1:
            raise BadValue(f"valve {name} lowers by less than half a semitone")
    notes, wished = [TuningNote("open", open_key)], []
    pressed = [held for count in range(1, len(semitones) + 1) for held in combinations(semitones, count)]
    for place, held in enumerate(sorted(pressed, key=lambda held: sum(semitones[each] for each in held)), 1):
        down = sum(semitones[each] for each in held)
        length = 1 + sum(extra_lengths[each] for each in held)
        notes.append(TuningNote("+".join(held), open_key - down))
        wished.append(WishedInterval(0, place, 100 * down - 1200 * log2(length)))
    return tuple(notes), tuple(wished)


def circle(
    tempering: Mapping[int, Mapping[str, Fraction]], closing: int | None
) -> tuple[tuple[TuningNote, ...], tuple[WishedInterval, ...]]:
    """The twelve notes from the tempering of the fifths.

    tempering : by place on the circle (see temperament.parse_fifth), fractions by comma, added to pure.
    closing : the fifth that takes what is left; None where the fractions come out by themselves.
    Raises BadValue for a closing fifth that is tempered as well, or a circle that does not close.

    >>> notes, wished = circle({0: {"pythagorean": Fraction(-1)}}, None)
    >>> round(wished[0].cents, 3), round(wished[1].cents, 3)
    (-21.505, 1.955)
    """
    if closing is not None and closing in tempering:
        raise BadValue("the closing fifth takes what is left; it cannot be tempered as well")
    total = {
        comma: sum((each.get(comma, Fraction(0)) for each in tempering.values()), Fraction(0))
        for comma in COMMA_CENTS
    }
    if closing is None and total != {"pythagorean": Fraction(-1), "syntonic": Fraction(0)}:
        raise BadValue(
            f"the circle does not close: the fractions add up to {total['pythagorean']} of the Pythagorean "
            f"comma and {total['syntonic']} of the syntonic, not to -1 and 0; name the closing fifth"
        )
    extra = [
        _FIFTH_EXCESS_CENTS
        + sum(float(part) * COMMA_CENTS[comma] for comma, part in tempering.get(place, {}).items())
        for place in range(12)
    ]
    if closing is not None:
        extra[closing] -= sum(extra)
    notes = tuple(TuningNote(name, key) for key, name in enumerate(KEYBOARD, 60))
    places = [7 * step % 12 for step in range(13)]
    wished = tuple(
        WishedInterval(places[step], places[step + 1], cents, ratio=CONSONANCES[7])
        for step, cents in enumerate(extra)
    )
    return notes, wished


def _between(
    keys: Sequence[int], consonances: Mapping[int, Ratio], octaves_weigh: float
) -> tuple[WishedInterval, ...]:
    pairs = combinations([(key, place, 0) for place, key in enumerate(keys)], 2)
    return tuple(wish for low, high in pairs for wish in _wished(low, high, consonances, octaves_weigh))


def _wished(
    one: tuple[int, int, int],
    other: tuple[int, int, int],
    consonances: Mapping[int, Ratio],
    octaves_weigh: float,
    name: str = "",
) -> list[WishedInterval]:
    """What two strings that sound together wish, each given by key, place and fret; nothing if dissonant."""
    (low, below, low_fret), (high, above, high_fret) = sorted((one, other), key=lambda each: each[0])
    octaves, semitones = divmod(high - low, 12)
    if semitones not in consonances:
        return []
    weight = octaves_weigh if semitones == 0 else 1.0
    ratio = _wider(consonances[semitones], octaves)
    return [WishedInterval(below, above, _EXTRA_CENTS[semitones], weight, ratio, name, (low_fret, high_fret))]


@cache
def _wider(ratio: Ratio, octaves: int) -> Ratio:
    return ratio.shifted(octaves)


def _just(low: int, high: int, ratio: Ratio, semitones: int) -> WishedInterval:
    return WishedInterval(low, high, ratio.cents - 100 * semitones, ratio=ratio)
