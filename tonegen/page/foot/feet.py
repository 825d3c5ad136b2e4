"""Controllers of a foot board as the page's pedals and levers: learned, and followed to where they stand."""

import re
from collections.abc import Iterable

from msgspec.structs import replace

from tonegen.errors import BadValue
from tonegen.keys.controls import Controls, control_fields
from tonegen.page.setting import Foot, PedalControl
from tonegen.setlist.records import Action, ControlKind, SetControl


def learned(foot: Foot, change: str, message: bytes) -> Foot | None:
    """The same foot board with a controller for this change; None for a message that is no press of one.

    A controller moves one change, and a change is moved by one controller.
    """
    fields = control_fields(message, change) or {}
    kind, _, number = str(fields.get("on", "")).partition(" ")
    if kind != ControlKind.CONTROL:
        return None
    pedal = PedalControl(change, int(number), int(fields["channel"]))
    others = (
        one
        for one in foot.pedals
        if one.change != change and (one.number, one.channel) != (pedal.number, pedal.channel)
    )
    return replace(foot, pedals=(*others, pedal))


def travels_of(pedals: Iterable[PedalControl], message: bytes) -> dict[str, float]:
    """Where a message brings a change, by its travel from 0 to 1; empty for one of no pedal.

    A pedal that sends all values on its way can so stand half-way.
    """
    controls = Controls(
        [
            SetControl("", ControlKind.CONTROL, Action.MOVE, one.number, one.channel, one.change)
            for one in pedals
        ]
    )
    try:
        _, pressed = controls.taken("", message)
    except BadValue:
        return {}
    return {} if pressed is None or pressed.travel is None else {pressed.control.change: pressed.travel}


def without_number(port: str) -> str:
    """A port's name without its client's number, which changes from day to day.

    >>> without_number("Foot Board:Foot Board MIDI 1 24:0")
    'Foot Board:Foot Board MIDI 1'
    """
    return re.sub(r" \d+:\d+$", "", port)
