"""The command line: parse, call the core, show. Each command is a module, imported when it is asked for."""

import os
import re
import sys
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any, Final, NoReturn

import click

from tonegen import ending
from tonegen.cli.plain import print_what_stdout_takes
from tonegen.errors import MissingDevices, TonegenError

INTERRUPTED: Final = 130  # as shells say of a program that Ctrl-C ended

# Blocks and stimuli are small matrix products: a second thread only waits for the first when another program
# plays (three sounds on two busy cores: 72 ms with two threads, 7 ms with one), and takes time to start.
# Read when numpy is loaded, so it is said here, before any command is; the second is for macOS's Accelerate,
# which threadpoolctl does not know.
for _threads in ("OPENBLAS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
    os.environ.setdefault(_threads, "1")

# A word that nobody typed on purpose, or the path of a file, is longer than a line that says what is wrong.
_LONG: Final = re.compile(r"\S{200,}")

# What each command is for; the same sentence opens its own help.
SUMMARIES: Final[Mapping[str, str]] = {
    "beats": "Beat rates of an interval, or of a grip on an instrument.",
    "play": "Play tones or a grip, and see the beats pulse.",
    "render": "Write tones or a grip to a WAV or FLAC file.",
    "count": "Turn beats counted by ear into cents.",
    "chart": "Chart of strings by changes, with targets and pitch readings.",
    "reads": "What a pitch meter shows, or what to tune so that it shows what you want.",
    "listen": "Hear which string is picked, at what pitch, and how sure that is.",
    "temper": "Find the offsets that make your own grips ring.",
    "compare": "Compare two temperaments over the grips of a scene.",
    "drop": "Cabinet drop from readings of a pitch meter.",
    "order": "A plan to tune by ear, step by step, with sound on request.",
    "keys": "Bring keyboards and samplers to the temperament, by MIDI and OSC.",
    "set": "Play an evening's set: songs, receivers and foot switches from one file.",
    "tunings": "Stored tunings of many instruments, each offset explained.",
    "list": "List the presets.",
    "copy": "Copy a preset into your own folder, to change it there.",
    "ear": "Train your ear for pure intervals, and measure what you can hear.",
    "page": "Open the page: see, hear and set the instrument.",
}


class Commands(click.Group):
    """Commands of a package, by what each is for; a command's module is imported only when it runs.

    So help is quick.
    """

    def __init__(self, package: str, summaries: Mapping[str, str], **settings: Any) -> None:
        """Take the package that holds the modules, and a sentence for each command."""
        super().__init__(**settings)
        self._package = package
        self._summaries = summaries

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The names, in their order."""
        return [*self._summaries]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command."""
        if cmd_name not in self._summaries:
            return None
        command: click.Command = import_module(f"{self._package}.{cmd_name}").command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that is asked for; one that is not there is told with those that are near it."""
        try:
            return super().resolve_command(ctx, args)
        except click.exceptions.NoSuchCommand as unknown:
            name, known = unknown.command_name, self._summaries
            raise click.exceptions.NoSuchCommand(name, possibilities=known, ctx=ctx) from None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([*self._summaries.items()])


def commands(
    package: str, summaries: Mapping[str, str], example: str
) -> Callable[[Callable[..., Any]], click.Group]:
    """Make a group of the commands of a package; `example` is the one whose help is pointed to."""
    epilog = f"For help on a command: tonegen {example} --help"
    return click.group(cls=Commands, package=package, summaries=summaries, epilog=epilog)


@click.group(
    cls=Commands,
    package=__name__,
    summaries=SUMMARIES,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="For help on a command: tonegen beats --help",
)
@click.version_option(package_name="tonegen", message="%(prog)s %(version)s")
def tonegen() -> None:
    """Reference tones and beat rates for tempering an instrument by ear."""


def main() -> NoReturn:
    """Run the command line; every foreseen error is one line and an exit code.

    Told to end, the program exits with 128 and the signal's number; after Ctrl-C with 0 where that is the
    usual end of the command.
    """
    ending.listen()
    try:
        print_what_stdout_takes()
        code = _run()
    finally:
        told = ending.stop_listening()
    sys.exit(code if told == INTERRUPTED else told or code)


def _run() -> int:
    try:
        result = tonegen.main(prog_name="tonegen", standalone_mode=False)
        sys.stdout.flush()
    except MissingDevices as error:
        return max(_failed(line, error.exit_code) for line in error.args)
    except TonegenError as error:
        return _failed(str(error), error.exit_code)
    except click.exceptions.NoArgsIsHelpError as alone:
        click.echo(alone.format_message())
        return 0
    except click.ClickException as error:
        return _failed(" ".join(error.format_message().split()), error.exit_code)
    except (click.Abort, KeyboardInterrupt):
        return INTERRUPTED
    except BrokenPipeError:
        # The reader of a pipe went away; point stdout at nothing so that Python's own flush at exit is quiet.
        sys.stdout = None
        return 0
    except OSError as error:  # files and devices answer for themselves; what is left is what is printed to
        sys.stdout = None
        return _failed(f"the result cannot be printed: {error.strerror}", 2)
    except Exception:
        if not ending.was_told():
            raise
        return INTERRUPTED  # Python itself makes other exceptions of what is raised at some places
    return result if isinstance(result, int) else 0


def _failed(message: str, exit_code: int) -> int:
    line = _LONG.sub(lambda word: f"{word[0][:40]}...{word[0][-20:]}", " ".join(message.splitlines()))
    click.echo(f"tonegen: {line.encode(errors='backslashreplace').decode()}", err=True)
    return exit_code
