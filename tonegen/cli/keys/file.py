"""tonegen keys file."""

from pathlib import Path

import click

from tonegen.cli.keys.asked import AskedScale, asks_for_a_scale, read_song, receiver_option
from tonegen.cli.keys.plan import plan_json
from tonegen.cli.show import as_json, force_option, print_json
from tonegen.errors import BadValue
from tonegen.setlist.records import Lead
from tonegen.writing import is_there, written_whole


@click.command()
@click.argument("source", metavar="IN.MID", type=click.Path(path_type=Path))
@click.argument("target", metavar="OUT.MID", type=click.Path(path_type=Path))
@asks_for_a_scale
@receiver_option
@click.option(
    "--follow",
    type=click.Choice(["bass", "song"]),
    help="Follow the chord: the lowest note at equal temperament, or the song's temperament, leads.",
)
@click.option("--glide", hidden=True, help="Refused: see keys through.")
@force_option
@as_json
def command(
    source: Path,
    target: Path,
    asked: AskedScale,
    receiver: str,
    follow: str | None,
    glide: str | None,
    force: bool,
    in_json: bool,
) -> None:
    """Retune a Standard MIDI File; tempo, tracks, programs and lyrics stay.

    \b
    tonegen keys file in.mid out.mid --temperament five-limit-just --root G --receiver mpe
    tonegen keys file in.mid out.mid --follow bass --receiver mpe
    """
    from tonegen.keys.files import retune
    from tonegen.keys.played import cents_of_notes
    from tonegen.keys.receivers import receiver as load

    if glide is not None:
        raise BadValue("notes of a file do not glide; to have held notes glide, play: tonegen keys through")
    made = asked.desk({receiver: load(receiver)}).plans()[receiver]
    song = read_song(source)
    if is_there(target) and source.samefile(target):
        raise BadValue(f"{source}: would be overwritten by the result; give the result another name")
    note_cents, said = None, tuple[str, ...]()
    try:
        if follow is not None:
            note_cents, said = cents_of_notes(song, made, Lead(follow))
        retuned = retune(song, made, note_cents)
    except BadValue as error:
        raise BadValue(f"{source}: {error}") from None
    with written_whole(target, force=force) as beside:
        beside.write_bytes(retuned.data)
    result = {
        "receiver": receiver,
        "notes": retuned.notes,
        "set_up_seconds": retuned.set_up_seconds,
        "clipped_bends": retuned.clipped,
        "worst_left": plan_json(made)["worst_left"],
    }
    if in_json:
        print_json(result)
    else:
        click.echo(f"{target}: {retuned.words}")
        click.echo("\n".join(made.receiver.asks))
    for caution in (*retuned.cautions(made.receiver), *said):
        click.echo(caution, err=True)
