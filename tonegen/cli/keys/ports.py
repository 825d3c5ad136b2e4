"""tonegen keys ports."""

import click

from tonegen.cli.show import as_json, print_json, print_table


@click.command()
@as_json
def command(in_json: bool) -> None:
    """List the MIDI ports."""
    from tonegen.cli.keys.rig import put_back_left
    from tonegen.keys.ports import inputs, outputs

    put_back_left()

    found = {
        "inputs": [port.name for port in inputs()],
        "outputs": [port.name for port in outputs()],
    }
    if in_json:
        print_json(found)
        return
    for kind, names in found.items():
        print_table([kind], [(name,) for name in names] or [("none",)])
