"""tonegen keys compare."""

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tonegen import presets
from tonegen.cli.asked import reference_option
from tonegen.cli.keys.asked import read_song
from tonegen.cli.show import as_json, force_option, print_json, print_sentence, print_table
from tonegen.errors import BadValue
from tonegen.pitch import REFERENCE_HZ, checked_reference_hz
from tonegen.temperament import PitchClassTemperament
from tonegen.words import many

if TYPE_CHECKING:
    from tonegen.keys.compared import SongPurity


@click.command()
@click.argument("source", metavar="IN.MID", type=click.Path(path_type=Path))
@reference_option
@click.option("--out", type=click.Path(path_type=Path), help="Draw it to a file as well: .pdf, .svg or .png.")
@force_option
@as_json
def command(source: Path, reference: float | None, out: Path | None, force: bool, in_json: bool) -> None:
    """Compare what tunings of the keys leave of a song's intervals.

    Equal temperament, each preset on its best root, the best twelve pitches there are, and keys that follow
    the chord. An error counts by how much the partials of two notes overlap, and how long. Channel 10 is left
    out; sevenths are never made harmonic ones (7:4).

    \b
    tonegen keys compare in.mid
    tonegen keys compare in.mid --out compared.svg
    """
    from tonegen.keys.compared import compare_song
    from tonegen.keys.played import notes_of

    reference_hz = checked_reference_hz(REFERENCE_HZ if reference is None else reference)
    song = read_song(source)
    loaded = [presets.temperament(name) for name in presets.names("temperaments")]
    try:
        played = notes_of(song)
        song_compared = compare_song(
            played,
            [one for one in loaded if isinstance(one, PitchClassTemperament)],
            reference_hz,
        )
    except BadValue as error:
        raise BadValue(f"{source}: {error}") from None
    if out is not None:
        from tonegen.paper.compared import draw
        from tonegen.paper.printing import write_figure

        write_figure(lambda: draw(source.stem, song_compared.rows), out, force=force)
    for caution in song_compared.cautions:
        click.echo(caution, err=True)
    notes = int((~played.left_alone).sum())
    if in_json:
        print_json(
            {
                "notes": notes,
                "reference_hz": reference_hz,
                "rows": [asdict(row) for row in song_compared.rows],
            }
        )
        return
    print_table(
        ["tuning", ">overlap", ">beats/s", ">fifths", ">thirds", ">far", ">bass", ">held", ">again"],
        [_row(row) for row in song_compared.rows],
        f"{source.name}: {many(notes, 'note')}; mean errors from just and largest moves, in cents",
    )
    print_sentence("overlap: octaves and consonances, as much as their partials meet; beats/s likewise")
    print_sentence("far: how much of the time of consonances is more than 10 cents off")
    print_sentence(
        "bass: the lowest note from equal temperament, or from the song's where keys follow that; held: a "
        "note while it sounds; again: a key struck again within 2 s"
    )
    if out is not None:
        click.echo(f"Written: {out}")
    if song_compared.purer:
        names = ", ".join(row.name for row in song_compared.purer)
        print_sentence(
            f"Following does not help here; purer: {names}. It helps where chords leave the key, and not "
            "where held notes chain chords that end a comma apart. Played live, held notes may glide: keys "
            "through --glide 2."
        )


def _row(row: "SongPurity") -> tuple[str, ...]:
    return (
        row.name,
        f"{row.overlap_cents:.2f}",
        f"{row.beats_per_second:.2f}",
        *("" if value is None else f"{value:.2f}" for value in (row.fifths_cents, row.thirds_cents)),
        "" if row.far_share is None else f"{100 * row.far_share:.1f} %",
        *(f"{value:.1f}" for value in (row.worst_bass_cents, row.held_moved_cents, row.restruck_cents)),
    )
