"""tonegen keys osc."""

import threading
from contextlib import ExitStack

import click

from tonegen.cli.keys.asked import (
    AskedScale,
    asks_for_a_scale,
    receiver_option,
    seconds_option,
    song_option,
    to_option,
)
from tonegen.cli.keys.rig import Following, looking, refuse_notes, stay, tuned_rig, where_it_goes
from tonegen.cli.keys.speakers import driven_by_osc
from tonegen.errors import BadValue
from tonegen.setup.setting import Song


@click.command()
@asks_for_a_scale
@receiver_option
@to_option
@click.option(
    "--listen", metavar="HOST:PORT", default="127.0.0.1:9001", show_default=True,
    help="Where to receive OSC, to move pedals, bar and temperament.",
)  # fmt: skip
@song_option
@seconds_option
def command(
    asked: AskedScale,
    receiver: str,
    to: str | None,
    listen: str,
    song: tuple[Song, ...],
    seconds: float | None,
) -> None:
    """Tune by OSC, and let OSC move pedals, bar, temperament and tones.

    \b
    tonegen keys osc --temperament my-e9 --to 127.0.0.1:9000 --receiver osc-per-key

    A synthesizer that starts later is tuned as soon as it listens; it may also ask, by /tonegen/send-again.
    """
    from tonegen.keys.receivers import Osc
    from tonegen.keys.receivers import receiver as load

    loaded = load(receiver)
    if not isinstance(loaded, Osc):
        raise BadValue(f"{receiver} takes MIDI, not OSC; choose an osc receiver, or use tonegen keys send")
    refuse_notes(receiver, loaded)
    desk = asked.desk(loaded, song)
    made = desk.plan()
    with ExitStack() as stack:
        rig = stack.enter_context(tuned_rig(where_it_goes(None, None, to, made), made))
        wake = threading.Event()
        following = Following(rig.retune, wake, rig.tune_again)
        desk.changed, desk.again = following.take, following.again
        heard = driven_by_osc(stack, desk, listen)
        click.echo(f"Tuned by OSC; listening at {heard}. Ctrl-C puts it back.", err=True)
        stay([looking(rig, rig.tune_again), following.send], seconds, wake)
