"""tonegen keys panic."""

import click

from tonegen.cli.keys.asked import out_option
from tonegen.errors import BadValue


@click.command()
@out_option
def command(out: str | None) -> None:
    """End every note on a MIDI port: notes and sound off, pedals up, on all channels.

    \b
    tonegen keys panic --out PORT

    Tuning, bends and sounds stay as they are. A program that is tuning the receiver can go on.
    """
    from tonegen.keys.guard import open_door, send_all
    from tonegen.keys.midi import ALL_CHANNELS, notes_off

    if not out:
        raise BadValue("say where notes are stuck: --out PORT (see: tonegen keys ports)")
    door = open_door(f"midi {out}")
    try:
        send_all(door, notes_off(ALL_CHANNELS))
    finally:
        door.close()
    click.echo("All notes are off.", err=True)
