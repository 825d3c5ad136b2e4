"""What pages ask of an evening's set."""

from typing import Annotated

from msgspec import Meta

from tonegen.page.asked import Asked, Name


class OpenSet(Asked, frozen=True):
    """Read a set by its name, "page" for the page's own list; nothing else moves."""

    name: Name


class NextSong(Asked, frozen=True):
    """Go on to the song that is shown as the next one."""


class PreviousSong(Asked, frozen=True):
    """Go back to the song before."""


class ShowNext(Asked, frozen=True):
    """Show the song of this number as the next one; going on leads there."""

    number: Annotated[int, Meta(ge=1, le=9999)]


class TakeRig(Asked, frozen=True):
    """Choose instrument, temperament, drop and reference pitch as the set has them."""
