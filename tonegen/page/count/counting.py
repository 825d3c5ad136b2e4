"""Beats that a listener counts or taps along with, from a page, and what they say of the interval."""

from collections.abc import Sequence

from msgspec import Struct

from tonegen.interval import readings_of_count
from tonegen.sounding import SoundingInterval
from tonegen.words import beats_a_second, signed


class Count(Struct, tag="count", frozen=True):
    """What was counted, and the two places where such a beat can be; "" where it was heard that it is not."""

    low: str
    high: str
    rate: str
    surely: str
    wide: str
    narrow: str


def count_of(low: str, high: str, interval: SoundingInterval, times_ms: Sequence[float]) -> Count:
    """What taps at these times say of an interval. Raises BadValue for fewer than three of them."""
    from tonegen.ear.taps import tapped_rate

    tapped = tapped_rate([at / 1000 for at in times_ms])
    surely = f"95 % range {tapped.low:.2f} to {tapped.high:.2f}"
    return count_of_rate(low, high, interval, tapped.value, surely)


def count_of_rate(
    low: str, high: str, interval: SoundingInterval, beats_per_second: float, surely: str, side: str = ""
) -> Count:
    """What a beat of this rate says of an interval. side : "wide" or "narrow" where it is known."""
    wide, narrow = readings_of_count(beats_per_second, interval.low.hz, interval.ratio)
    how = "" if side else "if "
    return Count(
        low,
        high,
        beats_a_second(beats_per_second, 2),
        surely,
        "" if side == "narrow" else f"{how}wide, {signed(wide.cents_from_just)} cents from pure",
        "" if side == "wide" else f"{how}narrow, {signed(narrow.cents_from_just)} cents from pure",
    )
