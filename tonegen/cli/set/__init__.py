"""tonegen set: an evening's songs, with the whole rig, from one file."""

from collections.abc import Mapping
from typing import Final

from tonegen.cli import commands

# The same sentence opens each command's own help.
SUMMARIES: Final[Mapping[str, str]] = {
    "check": "Check a whole set before the first byte: what is sent, how long it takes, what is wrong.",
    "learn": "Wait for a press of your foot board, and write it into the set.",
    "play": "Play a set: all its receivers, from song to song by foot.",
    "print": "Write the songs on one page for the music stand, 24 of them legible in low light.",
    "show": "Show the songs of a set, each with what the receivers are tuned to.",
}


@commands(__name__, SUMMARIES, example="set check")
def command() -> None:
    """Play an evening's set: songs, receivers and foot switches from one file."""
