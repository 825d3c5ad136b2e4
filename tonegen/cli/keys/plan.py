"""tonegen keys plan."""

from typing import TYPE_CHECKING, Any, Final

import click

from tonegen.cli.keys.asked import AskedScale, asks_for_a_scale, receiver_option
from tonegen.cli.show import as_json, print_json, print_table
from tonegen.words import beats_a_second, signed

if TYPE_CHECKING:
    from tonegen.keys.plan import Plan

# What no ear finds in a keyboard: less than half a cent (common practice, no source).
_SMALL_CENTS: Final = 0.5


@click.command()
@asks_for_a_scale
@receiver_option
@click.option("--bytes", "in_bytes", is_flag=True, help="Show the messages, and their undo, in hex.")
@as_json
def command(asked: AskedScale, receiver: str, in_bytes: bool, in_json: bool) -> None:
    """Show what each key will get, before anything is sent."""
    from tonegen.keys.receivers import receiver as load

    made = asked.desk({receiver: load(receiver)}).plans()[receiver]
    if in_json:
        print_json({"receiver": receiver, **(bytes_json(made) if in_bytes else plan_json(made))})
    elif in_bytes:
        _print_bytes(made)
    else:
        _print_plan(receiver, made)


def bytes_json(made: "Plan") -> dict[str, Any]:
    """The messages of a plan and those that undo it, in hexadecimal, and how long they take on a cable."""
    return {
        "messages": [message.hex(" ") for message in made.messages],
        "undo": [message.hex(" ") for message in made.undo],
        "seconds": _seconds(made),
    }


def _seconds(made: "Plan") -> float | None:
    """How long the messages take on a MIDI cable; None by OSC, which has none."""
    from tonegen.keys.midi import SECONDS_PER_BYTE
    from tonegen.keys.receivers import Osc

    return None if isinstance(made.receiver, Osc) else sum(map(len, made.messages)) * SECONDS_PER_BYTE


def _print_bytes(made: "Plan") -> None:
    """Each message in hexadecimal, as a manual prints it."""
    seconds = _seconds(made)
    on_a_cable = "" if seconds is None else f", {seconds:.3f} s on a cable"
    for words, messages, time in (("Sent", made.messages, on_a_cable), ("To put it back", made.undo, "")):
        size = sum(map(len, messages))
        click.echo(f"{words}: messages {len(messages)}, bytes {size}{time}")
        for message in messages:
            click.echo(f"  {message.hex(' ')}")


def plan_json(made: "Plan") -> dict[str, Any]:
    """The stable keys of a plan."""
    from tonegen.pitch import note_name

    rows = zip(
        made.scale.key_cents.tolist(), made.sent_cents.tolist(), made.left_cents.tolist(), made.hz.tolist(),
        strict=True,
    )  # fmt: skip
    return {
        "keys": [
            {
                "key": key,
                "note": note_name(key, made.scale.flats),
                "offset_cents": offset,
                "sent_cents": sent,
                "left_cents": left,
                "hz": hz,
            }
            for key, (offset, sent, left, hz) in enumerate(rows)
        ],
        "spread": [
            {
                "note": spread.note,
                "lowest_cents": spread.lowest_cents,
                "highest_cents": spread.highest_cents,
                "cents": spread.cents,
                "beats_per_second": spread.beats_per_second,
                "strings": list(spread.strings),
            }
            for spread in made.scale.spread
        ],
        "worst_left": {
            "cents": made.worst_left.cents,
            "beats_per_second": made.worst_left.beats_per_second,
        },
    }


def compromise(made: "Plan") -> str:
    """What a receiver cannot have as the instrument has it, in sentences; "" for nothing to speak of."""
    spread = made.scale.spread
    if not spread and abs(made.worst_left.cents) < _SMALL_CENTS:
        return ""
    notes = ", ".join(one.note for one in spread)
    widest = max((one.cents for one in spread), default=0.0)
    disagree = (
        f" Strings disagree on {notes}, by up to {widest:.1f} cents: tonegen keys plan." if spread else ""
    )
    return f"{_worst(made)}{disagree}"


def _worst(made: "Plan") -> str:
    worst = made.worst_left
    return f"At worst it is {abs(worst.cents):.3f} cents off, {beats_a_second(worst.beats_per_second, 3)}."


def _print_plan(receiver: str, made: "Plan") -> None:
    import numpy as np

    from tonegen.keys.receivers import Osc
    from tonegen.keys.scale import PIANO_KEYS
    from tonegen.pitch import note_name

    scale = made.scale
    heard = scale.heard_keys
    keys = np.array(PIANO_KEYS)
    if heard == PIANO_KEYS and np.allclose(scale.key_cents[keys], scale.class_cents[keys % 12]):
        heard = tuple(range(60, 72))  # all octaves are alike
    rows = [
        (
            note_name(key, scale.flats),
            signed(scale.key_cents[key]),
            signed(made.sent_cents[key], 3),
            signed(made.left_cents[key], 3),
            f"{made.hz[key]:.3f}",
            f"{abs(made.beats_left[key]):.3f}",
        )
        for key in heard
    ]
    print_table(
        ["key", ">wanted", ">sent", ">left", ">Hz", ">beats/s left"],
        rows,
        f"{scale.name} to {receiver}; A4 = {scale.reference_hz:g} Hz, offsets in cents",
    )
    if scale.spread:
        print_table(
            ["strings disagree", ">lowest", "on", ">highest", "on", ">beats/s"],
            [
                (one.note, signed(one.lowest_cents), one.lowest, signed(one.highest_cents), one.highest,
                 f"{one.beats_per_second:.2f}")
                for one in scale.spread
            ],
        )  # fmt: skip
    click.echo(_worst(made))
    click.echo("\n" + "\n".join(made.receiver.asks))
    if made.receiver.retunes_notes:
        in_files = "" if isinstance(made.receiver, Osc) else ", by keys file in a MIDI file"
        click.echo(f"Notes are retuned on their way, by keys through as you play{in_files}.")
