"""Which set is asked for: one of the presets, or the set list that the page keeps."""

import click
from click.shell_completion import CompletionItem

from tonegen import presets
from tonegen.errors import BadPreset
from tonegen.presets.sets import PAGE, set_and_faults
from tonegen.setlist.records import SetList


def _complete_set(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """The names that begin so, the page's among them."""
    names = (*presets.names("sets"), PAGE)
    return [CompletionItem(name) for name in names if name.startswith(incomplete)]


set_argument = click.argument("evening", metavar="SET", shell_complete=_complete_set)


def asked_set(name: str) -> tuple[SetList | None, tuple[str, ...]]:
    """The set of that name or file, or the page's own; none where its file is wrong, and then all that is.

    Raises BadPreset where there is no such set.
    """
    if name == PAGE:
        from tonegen.page.keeping import kept_set

        return kept_set(), ()
    evening, faults = set_and_faults(name)
    return evening, tuple(faults)


def right_set(name: str) -> SetList:
    """The same, where only one that is right will do. Raises BadPreset with the first fault."""
    evening, faults = asked_set(name)
    if evening is None:
        more = f" (and {len(faults) - 1} more: tonegen set check)" if len(faults) > 1 else ""
        raise BadPreset(f"{faults[0]}{more}")
    return evening
