"""What the commands of tunings share: a tuning by its name, and how its sources and figures are said."""

from difflib import get_close_matches
from typing import Final

import click
from click.shell_completion import CompletionItem

from tonegen.errors import BadPreset
from tonegen.presets.files import names_in_library
from tonegen.presets.tunings import tuning
from tonegen.tunings.records import Rule, StoredTuning
from tonegen.tunings.solve import SolvedTuning
from tonegen.words import many


class TuningName(click.ParamType[StoredTuning]):
    """The name of a tuning of the library, completed from those that exist."""

    name = "tuning"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> StoredTuning:
        """Load it. Raises BadPreset with those near it."""
        if isinstance(value, StoredTuning):
            return value
        return tuning_named(str(value))

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """The names that begin so."""
        return [CompletionItem(name) for name in names_in_library() if name.startswith(incomplete)]


def tuning_named(name: str) -> StoredTuning:
    """A tuning of the library. Raises BadPreset with those near it."""
    library = names_in_library()
    if name not in library:
        near = get_close_matches(name, library, n=3, cutoff=0.4)
        hint = f"near it: {', '.join(near)}" if near else "see: tonegen tunings list"
        raise BadPreset(f'there is no tuning called "{name[:60]}"; {hint}')
    return tuning(name, library[name])


TUNING: Final = TuningName()


def purity_words(found: SolvedTuning) -> str:
    """What the tuning wins over equal strings, in a sentence; "" where nothing gives way to anything."""
    before, after = found.rms_before_cents, found.rms_after_cents
    match found.tuning.rule:
        case Rule.CHORD:
            return f"Off pure, rms: {before:.2f} cents with equal strings, {after:.2f} so"
        case Rule.SHAPES:
            advice = "; leave it equal" if found.leave_it_equal else ""
            return (
                f"Off pure over {_chords(found.tuning)}, rms: {before:.2f} cents with equal strings, "
                f"{after:.2f} so{advice}"
            )
    return ""


def _chords(tuning: StoredTuning) -> str:
    names = list(dict.fromkeys(wish.chord for wish in tuning.wishes))
    return f"{many(len(names), 'chord')} ({', '.join(names)})"
