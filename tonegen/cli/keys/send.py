"""tonegen keys send."""

from collections.abc import Iterable, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tonegen.cli.asked import Preset
from tonegen.cli.keys.asked import (
    AskedScale,
    asks_for_a_scale,
    out_option,
    seconds_option,
    song_option,
    to_option,
    virtual_out_option,
)
from tonegen.cli.keys.plan import compromise, plan_json
from tonegen.cli.keys.rig import keep_playing, refuse_notes, tuned_set, where_it_goes
from tonegen.cli.keys.speakers import driven_by_osc
from tonegen.cli.show import as_json, force_option, print_json
from tonegen.errors import BadValue
from tonegen.setup.setting import Song
from tonegen.writing import written_whole

if TYPE_CHECKING:
    from tonegen.keys.plan import Plan


@click.command()
@asks_for_a_scale
@click.option(
    "--receiver",
    "receivers",
    type=Preset("receivers"),
    required=True,
    multiple=True,
    help="The receiver to tune, by name or TOML file; give several if they share the port.",
)
@out_option
@virtual_out_option
@to_option
@click.option("--out-syx", type=click.Path(path_type=Path), help="Write the tuning message to a file.")
@click.option("--keep", is_flag=True, help="Leave the receiver tuned and quit; keys reset puts it back.")
@click.option(
    "--osc-in", metavar="HOST:PORT",
    help="Receive OSC, to go to songs, and to move pedals, bar and temperament.",
)  # fmt: skip
@song_option
@seconds_option
@force_option
@as_json
def command(
    asked: AskedScale,
    receivers: tuple[str, ...],
    out: str | None,
    virtual_out: str | None,
    to: str | None,
    out_syx: Path | None,
    keep: bool,
    osc_in: str | None,
    song: tuple[Song, ...],
    seconds: float | None,
    force: bool,
    in_json: bool,
) -> None:
    """Tune a receiver, keep it in tune, and put it back at the end.

    \b
    tonegen keys send --instrument e9-ten-string --fret 3 --receiver mts-octave --out PORT
    tonegen keys send --temperament quarter-comma-meantone --root C --receiver mts-bulk --out-syx tuning.syx

    It sees no notes: what sounds while the tuning is sent may move. To have it sent around what you play, let
    your notes pass through: tonegen keys through. A synthesizer that is tuned by OSC may start later: it is
    tuned as soon as it listens.
    """
    from tonegen.keys.receivers import check_together
    from tonegen.keys.receivers import receiver as load

    loaded = {name: load(name) for name in receivers}
    check_together(loaded)
    for name, one in loaded.items():
        refuse_notes(name, one)
    if keep and osc_in:
        raise BadValue("--keep quits, and then nothing would listen; leave one of the two out")
    desk = asked.desk(loaded, song)
    plans = desk.plans()
    if out_syx is not None:
        _write_syx(out_syx, list(plans.values()), force)
    live = bool(out or virtual_out or to)
    if live or out_syx is None:
        where = {name: where_it_goes(out, virtual_out, to, made.receiver) for name, made in plans.items()}
        with ExitStack() as stack:
            played = stack.enter_context(tuned_set(desk, where, passes=False))
            heard = f" Listening at {driven_by_osc(stack, desk, osc_in)}." if osc_in else ""
            _say_compromises(plans)
            done = _what_is_done(plans.values())
            if keep:
                played.rig.keep()
                click.echo(f"{done} It stays that way; keys reset puts it back.", err=True)
            else:
                click.echo(f"{done}{heard} Ctrl-C puts it back.", err=True)
                keep_playing(played, seconds)
    else:
        _say_compromises(plans)
    if in_json:
        for name, made in plans.items():
            sent = {"messages": len(made.messages), "bytes": sum(map(len, made.messages))}
            print_json({"receiver": name, **sent, **plan_json(made)})


def _what_is_done(plans: Iterable["Plan"]) -> str:
    if any(made.receiver.retunes_notes for made in plans):
        return "The receiver is set up; notes are retuned by keys through or keys file."
    return "The receiver is tuned."


def _say_compromises(plans: Mapping[str, "Plan"]) -> None:
    for name, made in plans.items():
        if said := compromise(made):
            click.echo(f"{name}: {said}", err=True)


def _write_syx(path: Path, plans: Sequence["Plan"], force: bool) -> None:
    from tonegen.keys.midi import SYSEX

    sysex = b"".join(message for made in plans for message in made.messages if message[0] == SYSEX)
    if not sysex:
        raise BadValue(
            "--out-syx: this receiver is not tuned by system exclusive messages; choose an mts one"
        )
    with written_whole(path, force=force) as beside:
        beside.write_bytes(sysex)
    click.echo(f"{path}: {len(sysex)} bytes, {', '.join(made.scale.name for made in plans)}", err=True)
