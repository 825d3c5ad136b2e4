"""What hands and feet ask for, offsets by hand, and what is chosen.

Strings go by number; tones that sound by name, "4" being string 4, and "bass" what the grip is heard against.
"""

from typing import Annotated

from msgspec import Meta

from tonegen.page.asked import Asked, Name, StringNumber, ToneName


class Engage(Asked, frozen=True):
    """Engage a change: 0 is at rest, 1 at its stop."""

    change: Name
    travel: float


class Release(Asked, frozen=True):
    """Let go of every change."""


class Stand(Asked, frozen=True):
    """Engage these changes whole, and no other."""

    changes: Annotated[tuple[Name, ...], Meta(max_length=12)]


class Strings(Asked, frozen=True):
    """Sound these strings together."""

    strings: Annotated[tuple[StringNumber, ...], Meta(max_length=64)]


class TakeGrip(Asked, tag="grip", frozen=True):
    """Take a saved grip, with its changes."""

    name: Name


class Bar(Asked, frozen=True):
    """Put the bar at a fret; 0 is open."""

    fret: float


class Only(Asked, frozen=True):
    """Hear only the beating partials of a pair; of nothing to hear everything again."""

    low: ToneName | None = None
    high: ToneName | None = None


class Offset(Asked, frozen=True):
    """Move the tuning point that a string stands on now; one drag is one `gesture`."""

    string: StringNumber
    offset_cents: float
    gesture: Name = ""


class Pure(Asked, frozen=True):
    """Move a string until it is pure with another one that sounds."""

    string: StringNumber
    against: ToneName


class Equal(Asked, frozen=True):
    """Put the tuning point that a string stands on at equal temperament."""

    string: StringNumber


class ToTarget(Asked, tag="target", frozen=True):
    """Put it back to the player's target, which the temperament gives."""

    string: StringNumber


class Targets(Asked, frozen=True):
    """Put every moved tuning point back to its target."""


class Keep(Asked, frozen=True):
    """Keep all offsets as they are now as the player's own temperament."""

    name: Name


class Choose(Asked, frozen=True):
    """Choose what is given, leave the rest. `root` counts semitones from C; -1 is the instrument's own."""

    instrument: Name | None = None
    temperament: Name | None = None
    root: Annotated[int, Meta(ge=-1, le=11)] | None = None
    drop: Name | None = None
    timbre: Name | None = None
    reference_hz: float | None = None
    against: Name | None = None


class SaveGrip(Asked, frozen=True):
    """Save the strings and changes of this moment as a grip."""

    name: Name


class ForgetGrip(Asked, frozen=True):
    """Forget a grip that the player saved."""

    name: Name


class SaveSong(Asked, frozen=True):
    """Put a song on the set list, with its key as a pitch class; one of that name changes its key."""

    name: Name
    key: Annotated[int, Meta(ge=0, le=11)]
    minor: bool = False


class ForgetSong(Asked, frozen=True):
    """Take a song off the set list."""

    name: Name


class GoToSong(Asked, tag="song", frozen=True):
    """Bring the bar to a song's key."""

    name: Name
