"""tonegen set play."""

from contextlib import ExitStack

import click

from tonegen.cli.asked import TEXT
from tonegen.cli.keys.asked import mpe_keyboard_option, seconds_option
from tonegen.cli.keys.rig import keep_playing, put_back_left
from tonegen.cli.set.asked import right_set, set_argument
from tonegen.cli.show import folded
from tonegen.errors import BadValue


@click.command()
@set_argument
@click.option(
    "--in", "in_ports", type=TEXT, multiple=True, metavar="PORT",
    help="The keyboard that you play, by name or part of it; several if you play several.",
)  # fmt: skip
@click.option("--virtual-in", type=TEXT, multiple=True, metavar="NAME", help="Create a virtual MIDI input.")
@click.option("--from", "number", type=int, metavar="NUMBER", help="Begin with the song of that number.")
@click.option(
    "--without", type=TEXT, multiple=True, metavar="RECEIVER",
    help="Play without a receiver of the set; give several if more are missing.",
)  # fmt: skip
@mpe_keyboard_option
@click.option(
    "--osc-in", metavar="HOST:PORT",
    help="Receive OSC as well: /tonegen/set/next, previous, number and hold.",
)  # fmt: skip
@seconds_option
def command(
    evening: str,
    in_ports: tuple[str, ...],
    virtual_in: tuple[str, ...],
    number: int | None,
    without: tuple[str, ...],
    mpe_keyboard: bool,
    osc_in: str | None,
    seconds: float | None,
) -> None:
    """Play a set: all its receivers, from song to song by foot.

    \b
    tonegen set play demo-dance-night --in Keyboard --from 3

    What sounds when you go on stays as it is; each receiver follows as soon as that can be. Ctrl-C puts them
    all back. Without --in your notes do not come this way: receivers follow at once, what sounds may move.
    """
    from tonegen.keys.osc_port import SET_ADDRESSES, OscInput, parse_address
    from tonegen.keys.playing import keep_pauses_short
    from tonegen.keys.ports import MAY_LOSE_NOTES
    from tonegen.keys.set_live import PlayedSet, check_inputs
    from tonegen.keys.set_times import cautions, how_to_add_receivers, song_costs
    from tonegen.keys.sets import set_plan

    made = set_plan(right_set(evening)).checked()
    address = parse_address(osc_in) if osc_in else None
    place = 0 if number is None else made.evening.place_of(number)
    passes = bool(in_ports or virtual_in)
    if not (passes or osc_in or any(one.from_port for one in made.evening.controls)):
        raise BadValue(
            "nothing would go on to the next song: say what you play, --in PORT (see: tonegen keys ports) or "
            "--virtual-in NAME; or have a control that comes from a foot board, or --osc-in"
        )
    if not made.evening.receivers:
        raise BadValue(f"this set has no receivers yet; {how_to_add_receivers(made.evening)}")
    check_inputs(made.evening, in_ports)
    put_back_left()
    for words in cautions(made, song_costs(made)):
        click.echo(folded(words), err=True)
    with ExitStack() as stack:
        played = PlayedSet(made, place, without, mpe_keyboard, passes)
        stack.callback(played.close)
        played.listen_to(in_ports, virtual_in)
        heard = ""
        if address is not None:
            source = OscInput(played.playing, *address, SET_ADDRESSES)
            stack.callback(source.close)
            heard = f" Listening at {address[0]}:{source.port}."
        now = played.playing.now_and_next()
        click.echo(f"{now}{heard} Ctrl-C stops and puts all receivers back.", err=True)
        if played.may_lose_notes:
            click.echo(folded(MAY_LOSE_NOTES), err=True)
        keep_pauses_short()
        keep_playing(played, seconds)
