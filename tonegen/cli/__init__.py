"""The command line: parse, call the core, show. Each command is a module, imported when it is asked for."""

import signal
import sys
from collections.abc import Mapping
from importlib import import_module
from types import FrameType
from typing import Final, NoReturn

import click

from tonegen.errors import TonegenError

# What each command is for; the same sentence opens its own help.
SUMMARIES: Final[Mapping[str, str]] = {
    "beats": "Beat rates of an interval, or of a grip on an instrument.",
    "play": "Play tones or a grip, and see the beats pulse.",
    "render": "Write tones or a grip to a WAV or FLAC file.",
    "count": "Turn beats counted by ear into cents.",
    "chart": "Chart of strings by changes, with targets and pitch readings.",
    "list": "List the presets there are.",
}


class _Commands(click.Group):
    """Imports a command's module only when that command runs, so that help is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*SUMMARIES]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in SUMMARIES:
            return None
        command: click.Command = import_module(f"tonegen.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([*SUMMARIES.items()])


@click.group(
    cls=_Commands,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Each command explains itself: tonegen beats --help",
)
@click.version_option(package_name="tonegen", message="%(prog)s %(version)s")
@click.pass_context
def tonegen(ctx: click.Context) -> None:
    """Reference tones and beat rates for tempering an instrument by ear."""
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def main() -> NoReturn:
    """Run the command line; every foreseen error is one line and an exit code."""
    for ending in ("SIGTERM", "SIGHUP"):  # SIGHUP: the terminal was closed; Windows has none
        if hasattr(signal, ending):
            signal.signal(getattr(signal, ending), _end_in_order)
    try:
        result = tonegen.main(prog_name="tonegen", standalone_mode=False)
        sys.stdout.flush()
    except TonegenError as error:
        _fail(str(error), error.exit_code)
    except click.ClickException as error:
        _fail(" ".join(error.format_message().split()), error.exit_code)
    except (click.Abort, KeyboardInterrupt):
        sys.exit(130)
    except BrokenPipeError:
        # The reader of a pipe went away; point stdout at nothing so that Python's own flush at exit is quiet.
        sys.stdout = None
        sys.exit(0)
    sys.exit(result if isinstance(result, int) else 0)


def _end_in_order(number: int, _: FrameType | None) -> NoReturn:
    """End as an exit does, so that whatever is under way is cleaned up."""
    sys.exit(128 + number)


def _fail(message: str, exit_code: int) -> NoReturn:
    click.echo(f"tonegen: {message}", err=True)
    sys.exit(exit_code)
