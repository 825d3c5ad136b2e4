"""What pages ask about beats that were counted or tapped."""

from typing import Annotated, Literal

from msgspec import Meta

from tonegen.page.asked import Asked, ToneName


class Tapped(Asked, frozen=True):
    """Taps along with the beat of a pair, by when they came."""

    low: ToneName
    high: ToneName
    times_ms: Annotated[tuple[float, ...], Meta(max_length=400)]


class Counted(Asked, frozen=True):
    """Beats of a pair that were counted for so many seconds; `side` of pure, "" where it is not known."""

    low: ToneName
    high: ToneName
    beats: Annotated[float, Meta(gt=0, le=10_000)]
    seconds: Annotated[float, Meta(gt=0, le=3600)]
    side: Literal["", "wide", "narrow"] = ""
