"""tonegen tunings list."""

import click

from tonegen.cli.asked import Parsed
from tonegen.cli.show import as_json, print_json, print_table
from tonegen.pitch import parse_pitch_class
from tonegen.presets.tunings import tunings
from tonegen.tunings.search import FoundTuning, found_by_strings, has_words, parse_strings


@click.command()
@click.argument("words", nargs=-1)
@click.option("--family", help="Such as banjo, guitar or brass.")
@click.option(
    "--strings", type=Parsed("notes", parse_strings), help="Notes of neighbouring strings, low to high."
)
@click.option("--root", type=Parsed("note", parse_pitch_class), help="The note it is tuned to.")
@as_json
def command(
    words: tuple[str, ...],
    family: str | None,
    strings: tuple[int, ...] | None,
    root: int | None,
    in_json: bool,
) -> None:
    """Find a tuning by family, words, root or strings.

    Strings are found in any octave, and transposed.

    \b
    tonegen tunings list --family banjo
    tonegen tunings list --strings "D A D"
    tonegen tunings list open g
    """
    chosen = [
        tuning
        for tuning in tunings()
        if (family is None or family.lower() in tuning.family.replace("-", " ") or family == tuning.family)
        and (root is None or tuning.notes[tuning.root].key % 12 == root)
        and has_words(tuning, words)
    ]
    found = found_by_strings(chosen, strings) if strings else [FoundTuning(each, 0) for each in chosen]
    if in_json:
        print_json(
            {
                "tunings": [
                    {
                        "name": each.tuning.name,
                        "title": each.tuning.title,
                        "family": each.tuning.family,
                        "rule": each.tuning.rule,
                        "notes": [note.name for note in each.tuning.notes],
                        "transposed_semitones": each.transposed_semitones,
                    }
                    for each in found
                ]
            }
        )
        return
    if not found:
        click.echo("No tuning fits; ask for less, such as: tonegen tunings list --family guitar")
        return
    rows = [(each.tuning.name, each.tuning.rule, each.tuning.written, each.transposed) for each in found]
    if any(row[3] for row in rows):
        print_table(["tuning", "rule", "notes", "transposed"], rows)
    else:
        print_table(["tuning", "rule", "notes"], [row[:3] for row in rows])
