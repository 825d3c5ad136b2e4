"""What can go wrong, each kind with the exit code that the command line gives it.

A message is one line for a person: what is wrong, where, and what to do.
"""


class TonegenError(Exception):
    """Base of every error that the program raises on purpose."""

    exit_code = 2


class BadValue(TonegenError):
    """A number, a name or a text that makes no sense: a frequency of zero, a note "H3"."""


class BadPreset(TonegenError):
    """A preset file that is missing, unreadable or wrong; the message names the file and the field."""


class BadField(BadPreset):
    """The same of one field, "songs[3].key"; `why` says it without the file and the line."""

    def __init__(self, message: str, field: str, why: str) -> None:
        """The whole message, for who does not see the field."""
        super().__init__(message)
        self.field = field
        self.why = why


class CannotWrite(TonegenError):
    """A file that could not be written; nothing half written is left behind."""


class NoSuchDevice(TonegenError):
    """A sound device or a MIDI port that is missing, busy or gone."""

    exit_code = 3


class MissingDevices(NoSuchDevice):
    """Several of them, each argument a line."""

    def __str__(self) -> str:
        """All in one."""
        return "; ".join(map(str, self.args))


class MissingReceivers(MissingDevices):
    """Receivers of a set's file that are not there: the file says more than the rig has."""

    exit_code = 2
