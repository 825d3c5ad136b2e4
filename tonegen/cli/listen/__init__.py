"""tonegen listen: strings heard from a recording, or as they are played."""

from collections.abc import Mapping
from importlib import import_module
from typing import Final

import click

from tonegen.cli import Commands

# The same sentence opens each command's own help.
SUMMARIES: Final[Mapping[str, str]] = {
    "beats": "Hear how fast the strings of a grip beat, and on which side.",
    "clock": "Measure how fast the clock of a sound card runs.",
    "drop": "Hear how far a string drops when changes are engaged.",
    "learn": "Learn each string from its sound alone, so that it is heard better ever after.",
    "receiver": "Hear what a keyboard plays off equal by itself, and take it back.",
    "takes": "Hear which notes differ between two takes, by how much, and whether that would beat.",
}


class _Listen(Commands):
    """What is no command is a sound, in which strings are heard; options before it are that command's."""

    ignore_unknown_options = True

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that is asked for; that for the strings of a sound otherwise."""
        if args[0] in SUMMARIES:
            return super().resolve_command(ctx, args)
        strings: click.Command = import_module(f"{__name__}.strings").command
        return "", strings, args


@click.group(
    cls=_Listen,
    package=__name__,
    summaries=SUMMARIES,
    subcommand_metavar="SOUND [OPTIONS]",
    epilog="For all options: tonegen listen x.wav --help",
)
def command() -> None:
    """Hear which string is picked, at what pitch, and how sure that is.

    SOUND is a WAV or FLAC file; or listen as you play, to --device. Pick one string at a time, let each ring
    for a second, and damp it before the next.

    \b
    tonegen listen strings.wav --instrument e9-ten-string
    tonegen listen --device 2 --instrument e9-ten-string
    tonegen listen drop pedal-a.wav --instrument e9-ten-string --string 4 --changes A
    """
