"""tonegen copy."""

import click
from click.shell_completion import CompletionItem

from tonegen import presets
from tonegen.cli.show import as_json, print_json
from tonegen.cli.tunings.asked import tuning_named
from tonegen.presets.files import names_in_library
from tonegen.presets.own import copy_preset, copy_tuning, save_songs
from tonegen.presets.sets import PAGE

_TUNING = "tuning"


def _complete_name(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """The names, that begin so, of the kind that is on the line already."""
    kind = ctx.params.get("kind")
    names = names_in_library() if kind == _TUNING else presets.names(f"{kind}s")
    return [CompletionItem(name) for name in names if name.startswith(incomplete)]


@click.command()
@click.argument("kind", type=click.Choice([*(kind.removesuffix("s") for kind in presets.KINDS), _TUNING]))
@click.argument("name", shell_complete=_complete_name)
@click.argument("new_name")
@as_json
def command(kind: str, name: str, new_name: str, in_json: bool) -> None:
    """Copy a preset into your own folder, to change it there.

    The copy has the same comments; give it a title of its own, then change what you like. A tuning of the
    library becomes an instrument and a scene of yours.

    \b
    tonegen copy instrument e9-ten-string my-steel
    tonegen copy scene e9-dance-band my-band
    tonegen copy set page my-evening            the songs of the page, to add receivers
    tonegen copy tuning guitar-open-d my-slide
    """
    if kind == _TUNING:
        instrument, scene = copy_tuning(tuning_named(name), new_name)
        if in_json:
            print_json({"kind": kind, "name": new_name, "instrument": str(instrument), "scene": str(scene)})
            return
        click.echo(f"Copied as {new_name}: {instrument}\nand as a scene of its grips: {scene}")
        click.echo("Change them in any text editor; commands find them by that name")
        return
    if (kind, name) == ("set", PAGE):
        from tonegen.page.keeping import kept_set

        path = save_songs(kept_set(), new_name)
    else:
        path = copy_preset(f"{kind}s", name, new_name)
    if in_json:
        print_json({"kind": kind, "name": new_name, "file": str(path)})
        return
    click.echo(f"Copied as {new_name}: {path}")
    click.echo("Change it in any text editor; commands find it by that name")
