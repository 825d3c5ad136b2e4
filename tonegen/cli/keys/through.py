"""tonegen keys through."""

from contextlib import ExitStack
from typing import TYPE_CHECKING

import click

from tonegen.cli.asked import TEXT, Parsed
from tonegen.cli.keys.asked import (
    AskedScale,
    asks_for_a_scale,
    check_bass,
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
from tonegen.cli.keys.rig import Following, looking, stay, tuned_rig, where_it_goes
from tonegen.cli.keys.speakers import driven_by_osc
from tonegen.errors import BadValue
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
    "--listen", "listen_at", metavar="HOST:PORT",
    help="Receive OSC as well, to move pedals, bar and temperament, and to play tones.",
)  # fmt: skip
@click.option(
    "--follow", type=click.Choice(["steel", "bass", "song", "off"]), default="off", show_default=True,
    help="Follow the chord: the steel's strings, the lowest note at equal temperament, or the song's "
    "temperament leads.",
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
    listen_at: str | None,
    follow: str,
    song: tuple[Song, ...],
    seconds: float | None,
) -> None:
    """Retune notes as you play them.

    \b
    tonegen keys through --in PORT --out PORT --receiver mpe --temperament my-e9

    Where the keyboard that you play is the receiver as well, switch its Local Control off, so that it sounds
    what comes back and nothing else. What the receiver must be set to: tonegen keys plan.
    """
    from tonegen.keys.live import Pedals, PlayedThrough, check_follows, keep_pauses_short
    from tonegen.keys.ports import MAY_LOSE_NOTES, MidiInput
    from tonegen.keys.receivers import Osc
    from tonegen.keys.receivers import receiver as load
    from tonegen.keys.scale import strings_of_rig

    if bool(in_port) == bool(virtual_in):
        raise BadValue("say where notes come from: --in PORT (see: tonegen keys ports), or --virtual-in NAME")
    desk = asked.desk(load(receiver), song)
    if follow == "steel" and isinstance(desk.rig, Bare):
        raise BadValue("--follow steel follows an instrument's strings; give --instrument")
    desk.follow = desk.follow or follow == "steel"
    made = desk.plan()
    follower = None
    if follow == "bass":
        check_bass(made)
    if follow != "off":
        from tonegen.keys.chords import (
            ChordFollower,
            ChordFollowing,
        )  # scipy, which the others need not wait for

        check_follows(made, ChordFollowing())
        follower = ChordFollower(ChordFollowing(), made.scale.key_cents.tolist())
    for _, change in pedal:
        if isinstance(desk.rig, Bare):
            raise BadValue("--pedal moves a change of an instrument; give --instrument")
        desk.rig.instrument.change(change)
    where = where_it_goes(out, virtual_out, to, made)
    with ExitStack() as stack:
        rig = stack.enter_context(tuned_rig(where, made))
        player = PlayedThrough(made, rig.door.send, dict(pedal), mpe_keyboard, follower)

        def lead() -> None:
            if follow == "steel" and isinstance(desk.rig, Rig):
                player.led_by(strings_of_rig(desk.rig, desk.hands))

        lead()
        stack.callback(player.close)
        source = MidiInput(in_port or virtual_in or "", player.receive, virtual=bool(virtual_in))
        stack.callback(source.close)
        if said := compromise(made):
            click.echo(said, err=True)

        def retuned(made: "Plan") -> None:
            rig.retune(made, send=False)
            if not player.notes_bring_their_tune:
                player.retune(made)

        following = Following(retuned, player.moved, rig.tune_again)
        if isinstance(made.receiver, Osc):
            desk.again = following.again

        def changed(made: "Plan") -> None:
            lead()
            if player.notes_bring_their_tune:
                player.retune(made)  # the very next note has it
            following.take(made)

        pedals = Pedals(desk.move, lambda why: click.echo(f"tonegen: {why}", err=True))
        plays = True
        told: set[str] = set()

        def listen() -> None:
            nonlocal plays
            if plays and not source.is_there():
                plays = False
                player.finish()  # its note-offs will not come any more
                click.echo("The keyboard is disconnected; it will be heard again when it is back.", err=True)
            elif not plays and source.reconnect():
                plays = True
                click.echo("The keyboard is back.", err=True)

        desk.changed, desk.silenced = changed, player.panic
        heard = f"; listening at {driven_by_osc(stack, desk, listen_at)}" if listen_at else ""
        click.echo(
            f"Your notes are retuned as you play{heard}. Ctrl-C stops and puts the receiver back.", err=True
        )
        if source.may_lose_notes:
            click.echo(MAY_LOSE_NOTES, err=True)
        keep_pauses_short()

        def follow_pedals() -> None:
            pedals.follow(player.travels)

        def tell_what_fell_short() -> None:
            for words in set(player.cautions) - told:
                told.add(words)
                click.echo(words, err=True)

        look = looking(rig, player.start_over)
        stay([look, follow_pedals, following.send, listen, tell_what_fell_short], seconds, player.moved)
