"""tonegen set learn."""

import re
from contextlib import ExitStack
from functools import partial
from queue import Empty, Queue

import click

from tonegen.cli.asked import TEXT
from tonegen.cli.keys.asked import seconds_option
from tonegen.cli.set.asked import set_argument
from tonegen.errors import BadValue, NoSuchDevice

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

    from tonegen.keys.controls import control_fields
    from tonegen.keys.ports import MidiInput, choose, inputs
    from tonegen.presets.own import save_control
    from tonegen.presets.sets import set_list

    set_list(evening)
    ports = inputs()
    played = choose(keyboard, ports, "input").name if keyboard else None
    arrived: Queue[tuple[str, bytes]] = Queue()
    with ExitStack() as stack:
        for port in ports:
            try:
                source = MidiInput(port.name, partial(_noted, arrived, port.name))
            except NoSuchDevice as error:
                click.echo(f"tonegen: {error}", err=True)
                continue
            stack.callback(source.close)
        if not ports:
            raise NoSuchDevice("there is no MIDI input; plug in or switch on the foot board")
        click.echo(f'Press now what is to do "{does}". Ctrl-C leaves the file as it is.', err=True)
        until = monotonic() + (float("inf") if seconds is None else seconds)
        fields = None
        while fields is None:
            if monotonic() >= until:
                raise BadValue("nothing was pressed; the file is as it was")
            try:
                name, message = arrived.get(timeout=_LOOK_SECONDS)
            except Empty:
                continue
            fields = control_fields(message, does)
        if name != played:
            # a system counts its clients; the next time it may be another number
            fields = {"from": re.sub(r" \d+:\d+$", "", name), **fields}
    path = save_control(evening, fields)
    came = f' of "{fields["from"]}"' if "from" in fields else " of the keyboard"
    click.echo(f"{fields['on']}{came}: {does}. Written into {path}.", err=True)


def _noted(arrived: "Queue[tuple[str, bytes]]", name: str, message: bytes) -> None:
    arrived.put((name, message))
