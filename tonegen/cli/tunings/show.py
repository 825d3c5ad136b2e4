"""tonegen tunings show."""

import click

from tonegen.cli.show import as_json, print_json, print_sentence, print_table
from tonegen.cli.tunings.asked import TUNING, purity_words
from tonegen.pitch import REFERENCE_HZ, hz_from_key, note_name
from tonegen.tunings.records import ROOT_AT_EQUAL, StoredTuning
from tonegen.tunings.solve import solved
from tonegen.words import signed


@click.command()
@click.argument("tuning", type=TUNING)
@click.option(
    "--anchor", default=ROOT_AT_EQUAL, show_default=True, help="At equal: root, mean, or a note such as A."
)
@as_json
def command(tuning: StoredTuning, anchor: str, in_json: bool) -> None:
    """Show where each string of a tuning stands.

    \b
    tonegen tunings show guitar-open-d
    tonegen tunings show violin --anchor A
    """
    found = solved(tuning, anchor)
    offsets = found.offsets_cents.tolist()
    hz = [float(hz_from_key(note.key, cents)) for note, cents in zip(tuning.notes, offsets, strict=True)]
    if in_json:
        print_json(
            {
                "name": tuning.name,
                "title": tuning.title,
                "family": tuning.family,
                "rule": tuning.rule,
                "source": tuning.source,
                "anchor": anchor,
                "rms_before_cents": found.rms_before_cents,
                "rms_after_cents": found.rms_after_cents,
                "notes": [
                    {
                        "name": note.name,
                        "string": tuning.number(place) if tuning.strings else None,
                        "key": note.key,
                        "offset_cents": offsets[place],
                        "hz": hz[place],
                    }
                    for place, note in enumerate(tuning.notes)
                ],
            }
        )
        return
    rows = [
        (
            tuning.called(place),
            note_name(note.key, tuning.flats),
            signed(offsets[place], 1),
            f"{hz[place]:.2f}",
        )
        for place, note in enumerate(tuning.notes)
    ]
    if tuning.strings:
        rows.reverse()
    columns = ["string" if tuning.strings else "what", "key", ">cents", f">hz at A4 = {REFERENCE_HZ:g}"]
    print_table(columns, rows, f"{tuning.title}\n{tuning.rule.words}")
    if words := purity_words(found):
        print_sentence(words)
    print_sentence(f"Source: {tuning.source}")
