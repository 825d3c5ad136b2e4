"""tonegen set check."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from tonegen.cli.set.asked import asked_set, set_argument
from tonegen.cli.show import as_json, print_json, print_sentence, print_table
from tonegen.words import many, signed

if TYPE_CHECKING:
    from tonegen.keys.set_times import SongCost
    from tonegen.keys.sets import SetPlan

    _Costs = Sequence[Sequence[SongCost]]


@click.command()
@set_argument
@click.option("--bytes", "in_bytes", is_flag=True, help="Show the messages of each song, in hex.")
@as_json
@click.pass_context
def command(ctx: click.Context, evening: str, in_bytes: bool, in_json: bool) -> None:
    """Check a whole set before the first byte: what is sent, how long it takes, what is wrong.

    \b
    tonegen set check demo-dance-night

    Songs are counted as they follow each other. The seconds are those of a MIDI cable, 31,250 baud.
    """
    from tonegen.keys.set_times import cautions, song_costs
    from tonegen.keys.sets import set_plan

    asked, faults = asked_set(evening)
    made = None if asked is None else set_plan(asked)
    costs = () if made is None else song_costs(made)
    if made is not None:
        faults = made.faults
    if in_json:
        print_json(_json(evening, made, costs, faults))
    elif made is not None and not faults:
        _print_bytes(made, costs) if in_bytes else _print_songs(made, costs)
        for words in cautions(made, costs):
            print_sentence(words)
        click.echo("Nothing is wrong.")
    if faults:
        for fault in faults:
            click.echo(f"tonegen: {fault}", err=True)
        ctx.exit(2)


def _json(name: str, made: "SetPlan | None", costs: "_Costs", faults: Sequence[str]) -> dict[str, Any]:
    """The stable keys; of a set whose file is wrong there are no songs."""
    from tonegen.keys.set_times import cautions, start_seconds

    return {
        "name": name,
        "songs": [
            {
                "number": song.number,
                "name": song.name,
                "lights": _lights(made, place),
                "receivers": [
                    {
                        "name": cost.receiver,
                        "bytes": cost.bytes,
                        "seconds": cost.seconds,
                        "pause_seconds": cost.pause_seconds,
                        "waits_for": cost.waits_for,
                        "worst_left_cents": cost.left.cents,
                        "worst_left_beats": cost.left.beats_per_second,
                        "messages": [message.hex(" ") for message in cost.messages],
                    }
                    for cost in costs[place]
                ],
            }
            for place, song in enumerate(() if made is None else made.evening.songs)
            if made is not None
        ],
        "start_seconds": 0.0 if made is None else start_seconds(made, costs[0]),
        "faults": list(faults),
        "cautions": [] if made is None else list(cautions(made, costs)),
    }


def _print_songs(made: "SetPlan", costs: "_Costs") -> None:
    from tonegen.keys.set_times import start_seconds

    evening = made.evening
    rows = [
        (
            f"{song.number} {song.name}" if not index else "",
            cost.receiver,
            made.plans[place][cost.receiver].scale.name,
            str(cost.bytes),
            _seconds(cost),
            cost.waits_for if place else "",
            signed(cost.left.cents, 3),
            f"{cost.left.beats_per_second:.3f}",
        )
        for place, song in enumerate(evening.songs)
        for index, cost in enumerate(costs[place])
    ]
    print_table(
        ["song", "receiver", "tuned to", ">bytes", ">seconds", "waits for", ">cents left", ">beats/s left"],
        rows,
        f"{evening.title}: {many(len(evening.songs), 'song')}, {many(len(evening.receivers), 'receiver')}",
    )
    click.echo(f"All receivers are ready for the first song after {start_seconds(made, costs[0]):.2f} s.")


def _print_bytes(made: "SetPlan", costs: "_Costs") -> None:
    """Each message in hexadecimal, as a manual prints it."""
    for place, song in enumerate(made.evening.songs):
        click.echo(f"{song.number} {song.name}")
        if lights := _lights(made, place):
            click.echo(f"  lights: {lights}")
        for cost in costs[place]:
            on_a_cable = "" if cost.seconds is None else f", {_seconds(cost)} s on a cable"
            messages = many(len(cost.messages), "message")
            click.echo(f"  {cost.receiver}: {messages}, {cost.bytes} bytes{on_a_cable}")
            for message in cost.messages:
                click.echo(f"    {message.hex(' ')}")


def _lights(made: "SetPlan", place: int) -> str | None:
    """What lights are sent with a song, in hexadecimal; None where the set has none."""
    from tonegen.keys.midi import show_go

    evening = made.evening
    if evening.lights is None:
        return None
    return show_go(evening.lights.device, evening.songs[place].number).hex(" ")


def _seconds(cost: "SongCost") -> str:
    if cost.seconds is None:
        return ""
    pause = f" + {cost.pause_seconds:.1f}" if cost.pause_seconds else ""
    return f"{cost.seconds:.3f}{pause}"
