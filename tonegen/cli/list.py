"""tonegen list."""

import click

from tonegen import presets
from tonegen.cli.show import as_json, print_json, print_table
from tonegen.presets.files import files, title


@click.command()
@click.argument("kinds", nargs=-1, type=click.Choice(presets.KINDS))
@click.option("--files", "where", is_flag=True, help="Where each lies.")
@as_json
def command(kinds: tuple[str, ...], where: bool, in_json: bool) -> None:
    """List the presets.

    \b
    tonegen list
    tonegen list instruments --files
    """
    found = {
        kind: [(name, title(kind, name), str(file)) for name, file in files(kind).items()]
        for kind in kinds or presets.KINDS
    }
    if in_json:
        print_json(
            {
                kind: [{"name": name, "title": text, "file": file} for name, text, file in listed]
                for kind, listed in found.items()
            }
        )
        return
    for kind, listed in found.items():
        rows = [(name, file if where else text) for name, text, file in listed]
        print_table([kind, "file" if where else "what it is"], rows)
    click.echo("Many more instruments and temperaments are in the library: tonegen tunings list")
    click.echo(f"Your own presets are looked for first, in {presets.own_folder()}")
