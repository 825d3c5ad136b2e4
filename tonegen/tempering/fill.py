"""Points that no grip asks about, filled by the same note on other strings."""

from collections.abc import Collection, Mapping
from dataclasses import replace

from tonegen.instrument import Instrument, TuningPoint
from tonegen.tempering.temper import Tempered, offsets_before

_ALIKE_CENTS = 1e-3  # what a saved figure is rounded to, and more


def same_note_elsewhere(
    instrument: Instrument, offsets_cents: Mapping[TuningPoint, float], point: TuningPoint
) -> float | None:
    """Offset of a point's note on other strings: the mean of those nearest by octaves; None if there is none.

    >>> from tonegen.presets import instrument
    >>> e9 = instrument("e9-ten-string")
    >>> high_and_low = {TuningPoint(6): -12.0, TuningPoint(3): -10.0}  # G#3 and G#4
    >>> same_note_elsewhere(e9, high_and_low, TuningPoint(1, ("G",))) is None  # G4 is neither
    True
    >>> same_note_elsewhere(e9, {TuningPoint(10): 2.0}, TuningPoint(5))  # B2 for B3
    2.0
    """
    key = instrument.key(point)
    octaves: dict[int, list[float]] = {}
    for other, cents in offsets_cents.items():
        away = abs(instrument.key(other) - key)
        if other.string != point.string and away % 12 == 0:
            octaves.setdefault(away // 12, []).append(cents)
    if not octaves:
        return None
    nearest = octaves[min(octaves)]
    return sum(nearest) / len(nearest)


def filled(solved: Tempered) -> Tempered:
    """The same solution with what no grip asks about filled by the same note on other strings.

    Only what nobody has set is filled: what stands as it was before, or as it was filled the last time.
    """
    instrument, kept = solved.scene.instrument, solved.scene.kept
    before = dict(zip(solved.demands.points, map(float, offsets_before(solved.demands)), strict=True))
    fills = _fills(instrument, solved.moved_cents, solved.not_asked)
    if kept is not None:
        there = {point: kept.given(point) for point in solved.demands.points}
        asked = {at: cents for at, cents in there.items() if cents is not None and at in solved.moved_cents}
        last = _fills(instrument, asked, solved.not_asked)
        for point, cents in there.items():
            known = (before[point], last.get(point))
            if cents is not None and not any(_alike(cents, each) for each in known):
                fills.pop(point, None)
    offsets = solved.offsets.copy()
    for point, cents in fills.items():
        offsets[solved.demands.points.index(point)] = solved.scene.limited(point, cents)
    return replace(solved, offsets=offsets, filled=frozenset(fills))


def _fills(
    instrument: Instrument, asked: Mapping[TuningPoint, float], left: Collection[TuningPoint]
) -> dict[TuningPoint, float]:
    found = {point: same_note_elsewhere(instrument, asked, point) for point in left}
    return {point: cents for point, cents in found.items() if cents is not None}


def _alike(cents: float, other: float | None) -> bool:
    return other is not None and abs(cents - other) < _ALIKE_CENTS
