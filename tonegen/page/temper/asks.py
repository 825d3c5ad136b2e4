"""What pages ask about tempering: what is asked of it, and what to do with what it finds."""

from typing import Annotated, Literal

from msgspec import Meta

from tonegen.page.asked import Asked, Name, StringNumber
from tonegen.setup.setting import Travel


class TakeScene(Asked, tag="scene", frozen=True):
    """Take a scene, its grips, weights, pins and band; "" for the instrument's own grips alone."""

    name: Name


class Weigh(Asked, frozen=True):
    """Say how much a grip matters in tempering; 0 leaves it out."""

    grip: Name
    weight: Annotated[float, Meta(ge=0, le=100)]


class HoldPoint(Asked, tag="pin", frozen=True):
    """Hold a tuning point where it is, or let it go again."""

    string: StringNumber
    changes: Annotated[tuple[Name, ...], Meta(max_length=12)]
    travel: Travel = 1.0


class ChooseObjective(Asked, tag="objective", frozen=True):
    """What tempering makes least."""

    name: Literal["beats", "cents", "worst-beats", "worst-cents"]


class Temper(Asked, frozen=True):
    """Find the best offsets."""


class Along(Asked, frozen=True):
    """Look at another place of the trade-off; -1 is the solution itself."""

    place: Annotated[int, Meta(ge=-1, le=1000)]


class TakeOffer(Asked, frozen=True):
    """Keep what was found: every tuning point moves there."""


class ThrowAway(Asked, frozen=True):
    """Forget what was found."""
