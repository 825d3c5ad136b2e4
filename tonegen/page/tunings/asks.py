"""What pages ask about the library of tunings."""

from tonegen.page.asked import Asked, Name


class FindTunings(Asked, frozen=True):
    """Find tunings by words, or by the notes of their strings."""

    text: Name


class OpenTuning(Asked, frozen=True):
    """Show a tuning by its name, "" for none."""

    name: Name


class HearTuning(Asked, frozen=True):
    """Hear the note at a place of the tuning that is shown, all of them for -1."""

    place: int


class TakeTuning(Asked, frozen=True):
    """Make a tuning the instrument, and its own temperament."""

    name: Name
