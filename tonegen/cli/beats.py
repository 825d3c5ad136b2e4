"""tonegen beats."""

import click

from tonegen.cli.asked import AskedTones, asks_what_sounds
from tonegen.cli.show import as_json, print_json, print_sounding, sounding_json


@click.command()
@asks_what_sounds
@as_json
def command(asked: AskedTones, in_json: bool) -> None:
    """Beat rates of an interval, or of a grip on an instrument.

    \b
    tonegen beats --low A3 --high C#4 --ratio 5:4
    tonegen beats --instrument e9-ten-string --changes A,B --grip 3,4,5 --fret 3
    tonegen beats --instrument e9-ten-string --changes A --grip 4,5 --against E2
    """
    sounding, made_with = asked.sounding()
    if in_json:
        print_json(sounding_json(sounding))
    else:
        print_sounding(sounding, made_with)
