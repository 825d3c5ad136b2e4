"""What pages ask about two free tones."""

from typing import Literal

from tonegen.page.asked import Asked, Name


class WriteTones(Asked, tag="tones", frozen=True):
    """Write the two free tones, and what they stand for, "" being guessed; leave what is not given."""

    low: Name | None = None
    high: Name | None = None
    ratio: Name | None = None


class TuneTones(Asked, frozen=True):
    """Move the upper one of the two free tones: pure with the lower, or whole semitones from it."""

    to: Literal["pure", "equal"]


class HearTones(Asked, frozen=True):
    """Hear the two free tones instead of the grip, or the grip again; `only` leaves what beats."""

    on: bool
    only: bool = False
