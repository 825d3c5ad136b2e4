"""tonegen tunings check."""

import click

from tonegen.cli.show import as_json, print_json, print_sentence, print_table
from tonegen.cli.tunings.asked import TUNING
from tonegen.tunings.records import StoredTuning
from tonegen.tunings.solve import compared_with_source
from tonegen.words import signed


@click.command()
@click.argument("tuning", type=TUNING)
@as_json
def command(tuning: StoredTuning, in_json: bool) -> None:
    """Compare a tuning with what its source prints.

    \b
    tonegen tunings check kirnberger-2
    """
    pairs = compared_with_source(tuning)
    if in_json:
        print_json(
            {
                "name": tuning.name,
                "source": tuning.source,
                "loose": tuning.loose,
                "notes": [
                    {
                        "note": each.printed.note,
                        "computed_cents": each.computed_cents,
                        "published_cents": each.printed.cents,
                        "agrees": each.agrees,
                    }
                    for each in pairs
                ],
            }
        )
        return
    if not pairs:
        click.echo(f"{tuning.title}: its source prints no cents")
    else:
        rows = [
            (
                each.printed.note,
                signed(each.computed_cents, 3),
                signed(each.printed.cents, None),
                "agrees" if each.agrees else "off",
            )
            for each in pairs
        ]
        print_table(["note", ">computed", ">published", ""], rows, tuning.title)
    if tuning.loose:
        print_sentence(f"Loose: {tuning.loose}")
    print_sentence(f"Source: {tuning.source}")
