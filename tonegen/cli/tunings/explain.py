"""tonegen tunings explain."""

from collections.abc import Mapping
from typing import Any

import click

from tonegen.cli.show import as_json, print_json, print_sentence, print_table
from tonegen.cli.tunings.asked import TUNING, purity_words
from tonegen.errors import BadValue
from tonegen.tunings.explain import ExplainedNote, explained
from tonegen.tunings.records import StoredTuning
from tonegen.tunings.solve import solved
from tonegen.words import signed


@click.command()
@click.argument("tuning", type=TUNING)
@click.option("--string", "number", type=int, help="Only this string, or the note of that place.")
@as_json
def command(tuning: StoredTuning, number: int | None, in_json: bool) -> None:
    """Explain why a string stands where it does.

    Each neighbour wishes it somewhere; it stands at the mean of the wishes, each by its share.

    \b
    tonegen tunings explain guitar-open-d --string 3
    """
    found = solved(tuning)
    notes = [explained(found, place) for place in _places(tuning, number)]
    if in_json:
        print_json({"name": tuning.name, "notes": [_json(tuning, note) for note in notes]})
        return
    for note in notes:
        _print(tuning, note)
    if words := purity_words(found):
        print_sentence(words)


def _places(tuning: StoredTuning, number: int | None) -> list[int]:
    """All places, string 1 first, or the one of a number."""
    count = len(tuning.notes)
    places = [*reversed(range(count))] if tuning.strings else [*range(count)]
    if number is None:
        return places
    if not 1 <= number <= count:
        what = "string" if tuning.strings else "note"
        raise BadValue(f"--string: {tuning.name} has no {what} {number}; it has {what}s 1 to {count}")
    return [places[number - 1]]


def _print(tuning: StoredTuning, note: ExplainedNote) -> None:
    title = f"{tuning.called(note.place)} stands at {signed(note.offset_cents, 1)} cents"
    if not note.wishes:
        click.echo(f"{title}: it is in nothing that is asked for, so it stays where it is\n")
        return
    rows = [
        (
            wish.who,
            wish.why,
            signed(wish.wished_cents, 1),
            f"{wish.share:.0%}",
            wish.rate,
        )
        for wish in note.wishes
    ]
    print_table(["asked by", "for", ">wants", ">share", "beats so"], rows, title)
    if note.clash is not None:
        low, high = note.clash.low, note.clash.high
        print_sentence(
            f"{low.who} and {high.who} want it {note.clash.apart_cents:.1f} cents apart; it costs "
            f"{low.rate} with {low.who}, {high.rate} with {high.who}. G{note.clash.gone[1:]}."
        )
        click.echo("")


def _json(tuning: StoredTuning, note: ExplainedNote) -> Mapping[str, Any]:
    clash = note.clash
    return {
        "note": tuning.notes[note.place].name,
        "string": tuning.number(note.place) if tuning.strings else None,
        "offset_cents": note.offset_cents,
        "wishes": [
            {
                "who": wish.who,
                "why": wish.why,
                "wished_cents": wish.wished_cents,
                "share": wish.share,
                "beats_per_second": wish.beats_per_second,
            }
            for wish in note.wishes
        ],
        "apart_cents": None if clash is None else clash.apart_cents,
        "gone_in": [] if clash is None else list(clash.gone_in),
    }
