"""tonegen set learn."""

import click

from tonegen.cli.asked import TEXT
from tonegen.cli.keys.asked import seconds_option
from tonegen.cli.set.asked import set_argument
from tonegen.errors import BadValue

_LOOK_SECONDS = 0.25  # Ctrl-C must reach us while we wait


@click.command()
@set_argument
@click.option(
    "--control", "does", type=TEXT, required=True, metavar="ACTION",
    help="What the press is to do: next, previous, number, hold, panic, or a pedal or lever such as A.",
)  # fmt: skip
@click.option(
    "--in", "keyboard", type=TEXT, metavar="PORT",
    help="The keyboard that you play, if one of its own pedals or keys is to be the control.",
)  # fmt: skip
@seconds_option
def command(evening: str, does: str, keyboard: str | None, seconds: float | None) -> None:
    """Wait for a press of your foot board, and write it into the set.

    \b
    tonegen set learn my-evening --control next

    Everything else in the file stays, comments too.
    """
    from time import monotonic

    from tonegen.keys.press_reader import PressReader, press_in_words
    from tonegen.presets.own import check_control, save_control

    check_control(evening, does)
    with PressReader(keyboard) as reader:
        for line in reader.silent:
            click.echo(f"tonegen: {line}", err=True)
        click.echo(f'Press now what is to do "{does}". Ctrl-C leaves the file as it is.', err=True)
        until = monotonic() + (float("inf") if seconds is None else seconds)
        fields = None
        while fields is None:
            if monotonic() >= until:
                raise BadValue("nothing was pressed; the file is as it was")
            fields = reader.next(does, _LOOK_SECONDS)
    path = save_control(evening, fields)
    click.echo(f"{press_in_words(fields)}. Written into {path}.", err=True)
