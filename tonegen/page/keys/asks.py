"""What pages ask about keyboards and samplers."""

from tonegen.page.asked import Asked, Name


class ShowKeys(Asked, tag="keys", frozen=True):
    """Show the keyboards: what a receiver would get, and the ports there are."""


class Receiver(Asked, frozen=True):
    """Choose a receiver, who is right where strings disagree, and whether all strings are followed."""

    name: Name
    policy: Name
    follow: bool


class FollowChord(Asked, tag="chord", frozen=True):
    """Have new notes that pass through follow the chord: "bass", "song" or "steel" leads; "off" for none."""

    lead: Name


class Send(Asked, frozen=True):
    """Tune the receiver at "midi NAME", "virtual NAME" or "osc HOST:PORT", and keep it in tune."""

    where: Name


class PassThrough(Asked, tag="through", frozen=True):
    """Retune what is played into a port on its way to the receiver."""

    port: Name


class Panic(Asked, frozen=True):
    """End all notes at the receiver, also those whose end was lost on the way."""


class PutBack(Asked, frozen=True):
    """Take everything back that was sent."""
