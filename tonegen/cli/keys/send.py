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
    to_option,
    virtual_out_option,
)
from tonegen.cli.keys.plan import compromise, plan_json
from tonegen.cli.keys.rig import looking, refuse_notes, stay, tuned_rig, where_it_goes
from tonegen.cli.show import as_json, force_option, print_json
from tonegen.errors import BadValue
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
    seconds: float | None,
    force: bool,
    in_json: bool,
) -> None:
    """Tune a receiver, keep it in tune, and put it back at the end.

    \b
    tonegen keys send --instrument e9-ten-string --fret 3 --receiver mts-octave --out PORT
    tonegen keys send --temperament quarter-comma-meantone --root C --receiver mts-bulk --out-syx tuning.syx

    It sees no notes: what sounds while the tuning is sent may move. To have it sent around what you play, let
    your notes pass through: tonegen keys through.
    """
    from tonegen.keys.receivers import check_together
    from tonegen.keys.receivers import receiver as load

    loaded = {name: load(name) for name in receivers}
    check_together(loaded)
    for name, one in loaded.items():
        refuse_notes(name, one)
    plans = {name: asked.desk(one).plan() for name, one in loaded.items()}
    if out_syx is not None:
        _write_syx(out_syx, list(plans.values()), force)
    live = bool(out or virtual_out or to)
    if live or out_syx is None:
        doors = [(where_it_goes(out, virtual_out, to, made), made) for made in plans.values()]
        with ExitStack() as stack:
            rigs = [stack.enter_context(tuned_rig(where, made)) for where, made in doors]
            _say_compromises(plans)
            if keep:
                for rig in rigs:
                    rig.keep()
                click.echo(
                    f"{_what_is_done(plans.values())} It stays that way; keys reset puts it back.", err=True
                )
            else:
                click.echo(f"{_what_is_done(plans.values())} Ctrl-C puts it back.", err=True)
                stay([looking(rig, rig.tune_again) for rig in rigs], seconds)
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
