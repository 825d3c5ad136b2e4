"""tonegen list."""

import click

from tonegen import presets
from tonegen.cli.show import as_json, print_json, print_table
from tonegen.presets.files import title


@click.command()
@click.argument("kinds", nargs=-1, type=click.Choice(presets.KINDS))
@as_json
def command(kinds: tuple[str, ...], in_json: bool) -> None:
    """List the presets.

    \b
    tonegen list
    tonegen list instruments
    """
    found = {
        kind: {name: title(kind, name) for name in presets.names(kind)} for kind in kinds or presets.KINDS
    }
    if in_json:
        print_json(
            {
                kind: [{"name": name, "title": text} for name, text in titles.items()]
                for kind, titles in found.items()
            }
        )
        return
    for kind, titles in found.items():
        print_table([kind, "what it is"], list(titles.items()))
    click.echo(f"Your own presets are looked for first, in {presets.own_folder()}")
