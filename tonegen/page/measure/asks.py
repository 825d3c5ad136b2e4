"""What pages ask about a receiver that is heard."""

from tonegen.page.asked import Asked, Name


class HearReceiver(Asked, tag="measure", frozen=True):
    """Play the chosen receiver's keys and hear them; where : as for sending; keys : such as "C3-C5"."""

    where: Name
    keys: Name


class StopHearing(Asked, tag="stopmeasuring", frozen=True):
    """End it and put the receiver back."""


class SaveReceiver(Asked, tag="savemeasured", frozen=True):
    """Save what was found as a receiver of the player's own."""

    name: Name
