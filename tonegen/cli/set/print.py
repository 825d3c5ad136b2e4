"""tonegen set print."""

from pathlib import Path

import click

from tonegen.cli.set.asked import right_set, set_argument
from tonegen.cli.show import force_option


@click.command()
@set_argument
@click.option(
    "--out", type=click.Path(path_type=Path), required=True, help="The file to write: .pdf, .svg or .png."
)
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="The page's."
)
@force_option
def command(evening: str, out: Path, paper: str, force: bool) -> None:
    """Write the songs on one page for the music stand, 24 of them legible in low light.

    \b
    tonegen set print demo-dance-night --out set.pdf
    """
    from tonegen.paper.printing import write_pages
    from tonegen.paper.songs import draw
    from tonegen.setlist.states import states

    asked = right_set(evening)
    written = write_pages(lambda: draw(asked, states(asked), paper), out, force=force)
    click.echo(f"Written: {', '.join(map(str, written))}")
