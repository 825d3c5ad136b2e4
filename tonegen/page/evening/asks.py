"""What pages ask of an evening's set."""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from tonegen.page.asked import Asked, Name

Typed = Annotated[str, Meta(max_length=2000)]
Row = Annotated[int, Meta(ge=-1, le=999)]
Door = Literal["port", "virtual_port", "to"]


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


class EditSet(Asked, frozen=True):
    """Show the rows of the open set, as they are written, to be changed; the answer says `by` whom."""

    by: Name = ""


class SongRow(Struct, frozen=True, forbid_unknown_fields=True):
    """A song as it is typed; grips with commas between. `was` is the row that was shown, -1 for a new one."""

    was: Row
    name: Typed
    key: Typed = ""
    fret: Typed = ""
    line: Typed = ""
    grips: Typed = ""


class ReceiverRow(Struct, frozen=True, forbid_unknown_fields=True):
    """A receiver as it is typed: `door` says which of port, virtual_port and to `where` is."""

    was: Row
    name: Typed
    receiver: Typed
    door: Door = "port"
    where: Typed = ""
    from_channels: Typed = ""
    from_keys: Typed = ""
    transpose: Typed = ""
    follows: Typed = ""


class SaveSet(Asked, frozen=True):
    """Write the open set with these rows in this order, or nothing; `stamp` is that of what was shown."""

    stamp: Name
    title: Typed
    songs: Annotated[tuple[SongRow, ...], Meta(max_length=1000)]
    receivers: Annotated[tuple[ReceiverRow, ...], Meta(max_length=64)] = ()
    by: Name = ""


class CopySet(Asked, frozen=True):
    """Make a set of the player's own from the one that is open, and open that."""

    name: Name
    by: Name = ""


class TakeRig(Asked, frozen=True):
    """Choose instrument, temperament, drop and reference pitch as the set has them."""
