"""Beats that a listener taps along with, from a page, and what they say of the interval."""

from collections.abc import Sequence

from msgspec import Struct

from tonegen.interval import readings_of_count
from tonegen.page.view import signed
from tonegen.sounding import SoundingInterval


class Count(Struct, tag="count", frozen=True):
    """What was tapped, and the two places where such a beat can be: a count does not tell the side."""

    low: int
    high: int
    rate: str
    surely: str
    wide: str
    narrow: str


def count_of(low: int, high: int, interval: SoundingInterval, times_ms: Sequence[float]) -> Count:
    """What taps at these times say of an interval. Raises BadValue for fewer than three of them."""
    from tonegen.ear.taps import tapped_rate

    tapped = tapped_rate([at / 1000 for at in times_ms])
    wide, narrow = readings_of_count(tapped.value, interval.low.hz, interval.ratio)
    return Count(
        low,
        high,
        f"{tapped.value:.2f} beats a second",
        f"surely {tapped.low:.2f} to {tapped.high:.2f}",
        f"if wide, {signed(wide.cents_from_just)} cents from pure",
        f"if narrow, {signed(narrow.cents_from_just)} cents from pure",
    )
