"""tonegen keys through."""

from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import replace
from typing import TYPE_CHECKING

import click

from tonegen.cli.asked import TEXT, Parsed, from_0
from tonegen.cli.keys.asked import (
    AskedScale,
    asks_for_a_scale,
    mpe_keyboard_option,
    out_option,
    parse_pair,
    receiver_option,
    seconds_option,
    song_option,
    to_option,
    virtual_out_option,
)
from tonegen.cli.keys.plan import compromise
from tonegen.cli.keys.rig import keep_playing, tuned_set, where_it_goes
from tonegen.cli.keys.speakers import driven_by_osc
from tonegen.errors import BadValue
from tonegen.setlist.records import Action, ControlKind, Lead, SetControl
from tonegen.setup.rig import Bare, Rig
from tonegen.setup.setting import Song

if TYPE_CHECKING:
    from tonegen.keys.plan import Plan


def parse_pedal(text: str) -> tuple[int, str]:
    """A controller number and the change that it moves, "20=A". Raises BadValue."""
    number, change = parse_pair(text)
    if not (number.isascii() and number.isdigit() and int(number) < 120):
        raise BadValue(f'"{number}" is not a MIDI controller; give 0 to 119')
    return int(number), change


def parse_cents(text: str) -> float:
    """Cents, of how far or how fast. Raises BadValue."""
    return from_0(text, "no number of cents")


@click.command()
@asks_for_a_scale
@receiver_option
@click.option("--in", "in_port", type=TEXT, metavar="PORT", help="MIDI input, by name or part of it.")
@click.option("--virtual-in", type=TEXT, metavar="NAME", help="Create a virtual MIDI input with this name.")
@out_option
@virtual_out_option
@to_option
@click.option(
    "--pedal", multiple=True, type=Parsed("controller=change", parse_pedal),
    help="A MIDI controller that is a pedal or lever, such as 20=A; scale and tones follow it.",
)  # fmt: skip
@mpe_keyboard_option
@click.option(
    "--osc-in", metavar="HOST:PORT",
    help="Receive OSC as well, to move pedals, bar and temperament, and to play tones.",
)  # fmt: skip
@click.option(
    "--follow", type=click.Choice(["steel", "bass", "song", "off"]), default="off", show_default=True,
    help="Follow the chord: the steel's strings, the lowest note at equal temperament, or the song's "
    "temperament leads.",
)  # fmt: skip
@click.option(
    "--glide", type=Parsed("cents", parse_cents),
    help="With --follow: held notes glide to where the chord would have them, so many cents a second.",
)  # fmt: skip
@click.option(
    "--glide-most", type=Parsed("cents", parse_cents),
    help="With --glide: how far each note, in all.  [default: 4]",
)  # fmt: skip
@song_option
@seconds_option
def command(
    asked: AskedScale,
    receiver: str,
    in_port: str | None,
    virtual_in: str | None,
    out: str | None,
    virtual_out: str | None,
    to: str | None,
    pedal: tuple[tuple[int, str], ...],
    mpe_keyboard: bool,
    osc_in: str | None,
    follow: str,
    glide: float | None,
    glide_most: float | None,
    song: tuple[Song, ...],
    seconds: float | None,
) -> None:
    """Retune notes as you play them.

    \b
    tonegen keys through --in PORT --out PORT --receiver mpe --temperament my-e9

    Where the keyboard that you play is the receiver as well, switch its Local Control off, so that it sounds
    what comes back and nothing else. What the receiver must be set to: tonegen keys plan.
    """
    from tonegen.keys.leads import follower_of, usual_following
    from tonegen.keys.playing import keep_pauses_short
    from tonegen.keys.ports import MAY_LOSE_NOTES
    from tonegen.keys.receivers import receiver as load
    from tonegen.keys.scale import strings_of_rig

    if bool(in_port) == bool(virtual_in):
        raise BadValue("say where notes come from: --in PORT (see: tonegen keys ports), or --virtual-in NAME")
    desk = asked.desk({receiver: load(receiver)}, song)
    if follow == "steel" and isinstance(desk.rig, Bare):
        raise BadValue("--follow steel follows an instrument's strings; give --instrument")
    if glide is not None and follow == "off":
        raise BadValue(
            "--glide has notes glide that follow the chord; say whom: --follow bass, song or steel"
        )
    if glide_most is not None and glide is None:
        raise BadValue("--glide-most says how far notes glide; give --glide as well")
    desk.follow = desk.follow or follow == "steel"
    made = desk.plans()[receiver]
    follower = None
    if follow != "off":
        glides = {"glide_cents_per_second": glide, "glide_most_cents": glide_most}
        following_chords = replace(
            usual_following(Lead(follow)),
            **{name: cents for name, cents in glides.items() if cents is not None},
        )
        follower = follower_of(made, Lead(follow), following_chords)
    moves: dict[int, SetControl] = {}
    for number, change in pedal:
        if isinstance(desk.rig, Bare):
            raise BadValue("--pedal moves a change of an instrument; give --instrument")
        desk.rig.instrument.change(change)
        if number in moves and change != moves[number].change:
            raise BadValue(
                f"--pedal: controller {number} cannot move both {moves[number].change} and {change}; "
                "one control does one thing"
            )
        moves[number] = SetControl("", ControlKind.CONTROL, Action.MOVE, number, change=change)
    where = {receiver: where_it_goes(out, virtual_out, to, made.receiver)}
    with ExitStack() as stack:
        played = stack.enter_context(tuned_set(desk, where, tuple(moves.values()), mpe_keyboard))
        playing = played.playing
        if follower is not None:
            playing.follow(receiver, follower)

        def lead() -> None:
            if follow == "steel" and isinstance(desk.rig, Rig):
                playing.led_by(receiver, strings_of_rig(desk.rig, desk.hands))

        def changed(plans: "Mapping[str, Plan]") -> None:
            lead()
            playing.retune(plans)

        lead()
        desk.changed = changed
        played.listen_to([in_port] if in_port else [], [virtual_in] if virtual_in else [])
        if said := compromise(made):
            click.echo(said, err=True)
        heard = f"; listening at {driven_by_osc(stack, desk, osc_in)}" if osc_in else ""
        click.echo(
            f"Your notes are retuned as you play{heard}. Ctrl-C stops and puts the receiver back.", err=True
        )
        if played.may_lose_notes:
            click.echo(MAY_LOSE_NOTES, err=True)
        keep_pauses_short()
        keep_playing(played, seconds)
