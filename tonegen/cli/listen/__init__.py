"""tonegen listen: strings heard from a recording."""

from collections.abc import Mapping
from importlib import import_module
from typing import Final

import click

from tonegen.cli import Commands

# The same sentence opens each command's own help.
SUMMARIES: Final[Mapping[str, str]] = {
    "drop": "Hear how far a string drops when changes are engaged.",
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
    """Hear which string is picked in a recording, at what pitch, and how sure that is.

    SOUND is a WAV or FLAC file. Pick one string at a time, let each ring for a second, and damp it before the
    next.

    \b
    tonegen listen strings.wav --instrument e9-ten-string
    tonegen listen drop pedal-a.wav --instrument e9-ten-string --string 4 --changes A
    """
