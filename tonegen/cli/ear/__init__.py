"""tonegen ear: lessons, trials and what they have shown."""

from collections.abc import Mapping
from typing import Final

from tonegen.cli import commands

# The same sentence opens each command's own help.
SUMMARIES: Final[Mapping[str, str]] = {
    "lesson": "Learn to hear beats, step by step.",
    "train": "Practise with trials, and find out what you can hear.",
    "match": "Bring a tone to the pitch of a partner's recording.",
    "practise": "Practise for eight minutes what helps you most now.",
    "history": "See your progress day by day; export or delete it.",
}


@commands(__name__, SUMMARIES, example="ear train")
def command() -> None:
    """Train your ear for pure intervals, and measure what you can hear.

    Everything is kept on this machine, in your own folder, and nowhere else.
    """
