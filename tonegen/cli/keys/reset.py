"""tonegen keys reset."""

import click

from tonegen.cli.keys.asked import out_option, receiver_option, to_option
from tonegen.cli.keys.rig import where_it_goes


@click.command()
@receiver_option
@out_option
@to_option
def command(receiver: str, out: str | None, to: str | None) -> None:
    """Put a receiver back: notes off, bends to the centre, equal temperament.

    \b
    tonegen keys reset --out PORT --receiver mpe
    """
    import numpy as np

    from tonegen.keys.guard import open_door, send_all
    from tonegen.keys.plan import plan
    from tonegen.keys.receivers import receiver as load
    from tonegen.keys.scale import scale_of_classes

    made = plan(scale_of_classes("equal", np.zeros(12)), load(receiver))
    door = open_door(where_it_goes(out, None, to, made))
    try:
        send_all(door, made.undo, made.receiver.sysex_seconds)
    finally:
        door.close()
    click.echo("The receiver is put back.", err=True)
