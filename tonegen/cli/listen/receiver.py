"""tonegen listen receiver."""

import sys
from contextlib import ExitStack
from time import perf_counter
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from tonegen.cli.asked import Parsed
from tonegen.cli.keys.asked import out_option, receiver_option, to_option
from tonegen.cli.keys.rig import put_back_left, where_it_goes
from tonegen.cli.listen.asked import clock_of, device_option, opened_input
from tonegen.cli.show import as_json, force_option, print_json, print_sentence, print_table
from tonegen.pitch import note_name, parse_keys
from tonegen.words import many, signed

if TYPE_CHECKING:
    from tonegen.keys.measured import HeardReceiver


@click.command()
@receiver_option
@out_option
@to_option
@click.option("--save", metavar="NAME", required=True, help="Save what is found as a receiver of your own.")
@click.option(
    "--keys", type=Parsed("C3-C5,E5", parse_keys), default="C2-C6", show_default=True,
    help="The keys that are played; others stay as they are.",
)  # fmt: skip
@device_option
@force_option
@as_json
def command(
    receiver: str,
    out: str | None,
    to: str | None,
    save: str,
    keys: tuple[int, ...],
    device: str | None,
    force: bool,
    in_json: bool,
) -> None:
    """Hear what a keyboard plays off equal by itself, and take it back.

    It plays its notes one by one, hears them at a sound input, and finds how far each is off and how finely
    it can be moved; then it plays them again and says what is left. Each key takes some six seconds. Lead
    the receiver's sound to the input by a cable, turned down in the room; choose a plain sound that lasts,
    without chorus, vibrato and reverb. At the end the receiver is put back.

    \b
    tonegen listen receiver --out Stage --receiver mts-single-note --save my-stage
    tonegen listen receiver --out Stage --receiver mpe --save my-stage --keys C3-C5 --device 2
    """
    from tonegen.keys.live import TunedRig
    from tonegen.keys.measured import (
        ROUNDS,
        HeardKey,
        ReceiverHearing,
        ReceiverPlayer,
        TuneReceiver,
        check_plays,
    )
    from tonegen.keys.plan import undo_of
    from tonegen.keys.receivers import receiver as load
    from tonegen.presets.own import check_free, save_receiver

    loaded = load(receiver)
    check_plays(loaded)
    check_free("receivers", save, force=force)
    where = where_it_goes(out, None, to, loaded)
    coming = opened_input(device)
    clock, about_clock = clock_of(coming.device)
    hearing = ReceiverHearing(loaded, keys, coming.sample_rate, clock)
    put_back_left()
    with ExitStack() as stack:
        rig = TunedRig()
        stack.callback(rig.close)
        rig.hold(where, undo_of(loaded), loaded.sysex_seconds)
        player = ReceiverPlayer(rig.doors[where].door.send)
        stack.enter_context(coming)
        click.echo(f"Listening to {coming.device}. {about_clock}", err=True)
        bar = stack.enter_context(
            click.progressbar(
                length=ROUNDS * len(hearing.keys), label=f"{many(len(hearing.keys), 'key')}, three times",
                file=sys.stderr,
            )
        )  # fmt: skip
        for block in coming.blocks():
            for each in hearing.feed(block):
                if isinstance(each, TuneReceiver):
                    rig.tune({where: [(each.plan.messages, loaded.sysex_seconds)]})
                player.do(each, perf_counter())
                if isinstance(each, HeardKey):
                    bar.update(1)
            if hearing.found is not None:
                break
    assert hearing.found is not None
    path = save_receiver(save, receiver, hearing.found.fields, force=force)
    if in_json:
        print_json(_json(hearing.found, str(path)))
        return
    _print(hearing.found)
    print_sentence(
        f"Saved: {path}; what it plays off by itself is taken back from now on with --receiver {save}"
    )


def _print(found: "HeardReceiver") -> None:
    print_table(
        ["key", ">by itself", ">give or take", ">left"],
        [
            (note_name(key), signed(cents), f"{found.error_cents[key]:.2f}",
             signed(found.left_cents[key]) if key in found.left_cents else "")
            for key, cents in found.own_cents.items()
        ],
        "What it plays off equal temperament, in cents",
    )  # fmt: skip
    for key, why in found.why_not.items():
        print_sentence(f"{note_name(key)} cannot be read, and stays as it is: {why}")
    from tonegen.listen.receiver import FEWEST_KEYS

    step = found.steps.step_cents
    if step:
        how = "cuts down to them" if found.steps.rounding == "down" else "goes to the nearest"
        print_sentence(f"It moves in steps of {step:g} cents and {how}: no key can be set more finely.")
    elif len(found.left_cents) < FEWEST_KEYS:
        print_sentence(f"Play {FEWEST_KEYS} keys and more to hear in which steps it moves.")
    else:
        print_sentence("It can be moved as finely as it is heard.")
    if not found.left_cents:
        return
    left = {key: abs(cents) for key, cents in found.left_cents.items()}
    worst = max(left, key=lambda key: left[key])
    print_sentence(
        f"Left: {np.median(list(left.values())):.2f} cents in the middle, {left[worst]:.2f} at most, at "
        f"{note_name(worst)}."
    )
    if found.receiver.per == "class" and left[worst] > max(step, 0.2):
        print_sentence(
            "It has one offset for a note in all octaves: octaves that differ by themselves still do."
        )


def _json(found: "HeardReceiver", path: str) -> dict[str, Any]:
    return {
        "saved": path,
        "keys": [
            {
                "key": key, "note": note_name(key), "own_cents": cents,
                "error_cents": found.error_cents[key], "left_cents": found.left_cents.get(key),
            }
            for key, cents in found.own_cents.items()
        ],
        "step_cents": found.steps.step_cents, "rounding": found.steps.rounding, "scale": found.steps.scale,
        "why_not": [{"key": key, "why": why} for key, why in found.why_not.items()],
    }  # fmt: skip
