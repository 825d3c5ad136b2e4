"""tonegen keys reset."""

import click

from tonegen.cli.asked import Preset
from tonegen.cli.keys.asked import out_option, to_option
from tonegen.cli.keys.rig import put_back_left, where_it_goes
from tonegen.errors import BadValue, NoSuchDevice


@click.command()
@click.option("--receiver", type=Preset("receivers"), help="The receiver to put back, by name or TOML file.")
@out_option
@to_option
def command(receiver: str | None, out: str | None, to: str | None) -> None:
    """Put a receiver back: notes off, bends to the centre, equal temperament.

    \b
    tonegen keys reset
    tonegen keys reset --out PORT --receiver mpe

    Without options: whatever was left tuned by a program that was killed together with its guard.
    """
    from tonegen.keys import journal

    if receiver is None:
        if out or to:
            raise BadValue("say which receiver to put back: --receiver NAME (see: tonegen list receivers)")
        anything = bool(journal.left())
        if not put_back_left():
            raise NoSuchDevice(
                "not everything could be put back; plug in or start what is missing, and reset again"
            )
        if not anything:
            click.echo("Nothing was left tuned.", err=True)
        return

    import numpy as np

    from tonegen.keys.guard import open_door, send_all
    from tonegen.keys.plan import plan
    from tonegen.keys.receivers import receiver as load
    from tonegen.keys.scale import scale_of_classes

    put_back_left()
    made = plan(scale_of_classes("equal", np.zeros(12)), load(receiver))
    door = open_door(where_it_goes(out, None, to, made.receiver))
    try:
        send_all(door, made.undo, made.receiver.sysex_seconds)
    finally:
        door.close()
    click.echo("The receiver is put back.", err=True)
