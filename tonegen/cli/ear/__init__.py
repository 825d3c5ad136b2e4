"""tonegen ear: lessons, trials and what they have shown."""

from collections.abc import Mapping
from typing import Final

import click

from tonegen.cli import Commands

# The same sentence opens each command's own help.
SUMMARIES: Final[Mapping[str, str]] = {
    "lesson": "Learn to hear beats, step by step.",
    "train": "Answer trials, and find out what you hear.",
    "history": "See progress over days; export it, or delete it.",
}


@click.group(
    cls=Commands,
    package=__name__,
    summaries=SUMMARIES,
    epilog="Each command explains itself: tonegen ear train --help",
)
def command() -> None:
    """Train ears on the purity of intervals, and measure what they hear.

    Everything is kept on this machine, in your own folder, and nowhere else.
    """
