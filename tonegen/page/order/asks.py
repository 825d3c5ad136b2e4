"""What pages ask about the plan for tuning by ear."""

from typing import Annotated, Literal

from msgspec import Meta

from tonegen.page.asked import Asked


class MakePlan(Asked, tag="order", frozen=True):
    """Make a plan to tune by ear, to the offsets as they are."""


class MoveOn(Asked, frozen=True):
    """Whether a step that is heard to hold for two seconds is followed by the next."""

    on: bool


class GoToStep(Asked, tag="step", frozen=True):
    """Go to a step of the plan; -1 goes back to the grip.

    heard : both tones, just the partials that beat, or only what is tuned against.
    """

    at: Annotated[int, Meta(ge=-1, le=10_000)]
    heard: Literal["both", "beating", "against"] = "both"
