"""What pages ask about the sound: on, off, how loud and where."""

from tonegen.page.asked import Asked, Name


class SplitEars(Asked, tag="split", frozen=True):
    """The lowest tone in the left ear and the others in the right, or all in both."""

    on: bool


class TurnSound(Asked, tag="sound", frozen=True):
    """Begin or end the sound."""

    on: bool


class Mute(Asked, frozen=True):
    """Fall silent at once, or be heard again."""

    on: bool


class Level(Asked, frozen=True):
    """The level that all tones together stay under."""

    dbfs: float


class Steady(Asked, frozen=True):
    """Hear a steady tone to set the volume by, or end it; then `comfortable` says that the volume is set."""

    on: bool
    comfortable: bool = False


class ChooseDevice(Asked, tag="device", frozen=True):
    """Send the sound to a device of the machine, by name; its default one for None."""

    name: Name | None = None


class ShowDevices(Asked, tag="devices", frozen=True):
    """Show the sound devices that the machine has."""
