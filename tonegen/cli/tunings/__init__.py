"""tonegen tunings: stored tunings of many instruments, each offset explained."""

from collections.abc import Mapping
from typing import Final

from tonegen.cli import commands

# The same sentence opens each command's own help.
SUMMARIES: Final[Mapping[str, str]] = {
    "list": "Find a tuning by family, words, root or strings.",
    "show": "Show where each string of a tuning stands.",
    "explain": "Explain why a string stands where it does.",
    "check": "Compare a tuning with what its source prints.",
}


@commands(__name__, SUMMARIES, example="tunings explain")
def command() -> None:
    """Stored tunings of many instruments, each offset explained.

    A tuning with strings is an instrument, and its own temperament, under its name in every command.
    """
