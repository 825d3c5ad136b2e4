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
    """A song as it is typed; `was` is the row that was shown, -1 for a new one.

    follows : what receivers follow, "Organ: equal, Piano: steel". grips : with commas between.
    """

    was: Row
    name: Typed
    key: Typed = ""
    fret: Typed = ""
    follows: Typed = ""
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
    follow: Typed = "off"


class ControlRow(Struct, frozen=True, forbid_unknown_fields=True):
    """A control of a foot board as it is typed, such as on "control 80" does "next", or moves "A"."""

    was: Row
    on: Typed
    from_port: Typed = ""
    does: Typed = ""
    moves: Typed = ""
    channel: Typed = ""
    device: Typed = ""


class SaveSet(Asked, frozen=True):
    """Write the open set with these rows in this order, or nothing; `stamp` is that of what was shown."""

    stamp: Name
    title: Typed
    songs: Annotated[tuple[SongRow, ...], Meta(max_length=1000)]
    receivers: Annotated[tuple[ReceiverRow, ...], Meta(max_length=64)] = ()
    controls: Annotated[tuple[ControlRow, ...], Meta(max_length=200)] = ()
    by: Name = ""


class LearnPress(Asked, frozen=True):
    """Wait for a press of a foot board that is to do this: an action such as "next", or a pedal or lever."""

    does: Name
    by: Name = ""


class StopWaiting(Asked, frozen=True):
    """Wait for no press any more."""


class CopySet(Asked, frozen=True):
    """Make a set of the player's own from the one that is open, and open that."""

    name: Name
    by: Name = ""


class TakeRig(Asked, frozen=True):
    """Choose instrument, temperament, drop and reference pitch as the set has them."""


class FindInputs(Asked, frozen=True):
    """Look which MIDI inputs there are to play the set from."""


class PlaySet(Asked, frozen=True):
    """Tune the receivers of the open set, but some, and let the player's keyboards through to them."""

    without: Annotated[tuple[Name, ...], Meta(max_length=64)] = ()
    keyboards: Annotated[tuple[Name, ...], Meta(max_length=16)] = ()


class PanicSet(Asked, frozen=True):
    """End all notes at the receivers of the set."""


class PutSetBack(Asked, frozen=True):
    """Put all receivers of the set back."""
