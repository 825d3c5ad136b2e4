"""What pages ask about readings of a meter."""

from typing import Annotated, Literal

from msgspec import Meta

from tonegen.page.asked import Asked, Name, StringNumber


class Read(Asked, frozen=True):
    """Note what the meter shows of a string with the changes as they stand; `value` as it was typed.

    seconds, side : how long beats were counted, "" for one second; on which side of pure, "" when not known
    against, ratio : the tone of a count of beats, and what the two stand for, "" for a unison
    """

    string: StringNumber
    unit: Literal["cents", "hz", "beats"]
    value: Name
    against: Name = ""
    ratio: Name = ""
    seconds: Name = ""
    side: Literal["", "wide", "narrow"] = ""


class ReadList(Asked, frozen=True):
    """Note every reading of a list, as a CSV file has it."""

    text: Annotated[str, Meta(max_length=60_000)]


class Unread(Asked, frozen=True):
    """Take a reading away by its place in the list; None takes them all."""

    at: Annotated[int, Meta(ge=0)] | None = None


class TrustMeter(Asked, tag="meter", frozen=True):
    """Say how good a reading of the meter is, in cents."""

    cents: Annotated[float, Meta(gt=0, le=100)]


class KeepDrop(Asked, frozen=True):
    """Keep the drop that the readings tell as the player's own profile, and use it."""

    name: Name
