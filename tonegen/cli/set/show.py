"""tonegen set show."""

from typing import TYPE_CHECKING, Any

import click

from tonegen.cli.set.asked import right_set, set_argument
from tonegen.cli.show import as_json, print_json, print_table

if TYPE_CHECKING:
    from tonegen.keys.sets import SetPlan
    from tonegen.setlist.states import SongState


@click.command()
@set_argument
@as_json
def command(evening: str, in_json: bool) -> None:
    """Show the songs of a set, each with what the receivers are tuned to.

    \b
    tonegen set show demo-dance-night
    tonegen set show page
    """
    from tonegen.keys.sets import set_plan

    made = set_plan(right_set(evening)).checked()
    if in_json:
        print_json({"name": evening, "title": made.evening.title, "songs": _json(made)})
    else:
        _print_songs(made)


def _json(made: "SetPlan") -> list[dict[str, Any]]:
    """The stable keys of each song."""
    return [
        {
            "number": state.song.number,
            "name": state.song.name,
            "key": state.key_name or None,
            "fret": state.fret if made.evening.instrument else None,
            "line": state.song.line,
            "receivers": {name: one.scale.name for name, one in plans.items()},
            "worst_left_beats": _worst(made, place),
        }
        for place, (state, plans) in enumerate(zip(made.states, made.plans, strict=True))
    ]


def _print_songs(made: "SetPlan") -> None:
    evening = made.evening
    rows = [
        (
            str(state.song.number),
            state.song.name,
            state.key_name,
            f"{state.fret:g}" if evening.instrument else "",
            *(_tuned_to(made, state, name) for name in made.receivers),
            f"{_worst(made, place):.3f}" if made.receivers else "",
            state.song.line,
        )
        for place, state in enumerate(made.states)
    ]
    columns = [">no.", "song", "key", ">fret", *made.receivers, ">beats/s left", "to remember"]
    print_table(columns, rows, evening.title)


def _tuned_to(made: "SetPlan", state: "SongState", name: str) -> str:
    """What a receiver follows in a song: the steel, or a temperament on its root."""
    from tonegen.setlist.records import FollowKind

    steel = state.follows[name].kind is FollowKind.STEEL
    return "steel" if steel else made.plans[made.states.index(state)][name].scale.name


def _worst(made: "SetPlan", place: int) -> float:
    return max((one.worst_left.beats_per_second for one in made.plans[place].values()), default=0.0)
