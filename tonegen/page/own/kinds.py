"""What kinds of presets can be made at the page, and what each is read, typed and checked by."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from tonegen.frozen import Frozen
from tonegen.keys.receivers import Receiver
from tonegen.page.own.receivers import (
    RECEIVER_FROM_NOTHING,
    RECEIVER_READS,
    check_receiver,
    no_rows,
    put_receiver,
)
from tonegen.page.setting import KindOfOwn
from tonegen.presets import plain_drafts as plain
from tonegen.presets import steel
from tonegen.presets.drafts import Noted, Reads, Sheet, Way
from tonegen.presets.drops import DropFields, drop_from
from tonegen.presets.instruments import InstrumentFields, instrument_from
from tonegen.presets.scenes import SceneFields, scene_from


@dataclass(frozen=True, slots=True)
class OwnKind(Frozen):
    """A kind.

    model : its fields, as they are read. check : makes the preset of them, and notes what is wrong.
    reads : how each field is typed. put, add, take_out, move : what goes along with a change.
    """

    from_nothing: str
    model: Any
    check: Callable[[Any, Path, Noted], object]
    reads: Mapping[str, Reads]
    put: Callable[[Sheet, Way, Reads, str], None]
    add: Callable[[Sheet, Way], None]
    take_out: Callable[[Sheet, Way], None]
    move: Callable[[Sheet, Way, int], None]


KINDS_OF_OWN: Final[dict[KindOfOwn, OwnKind]] = {
    "instruments": OwnKind(
        steel.FROM_NOTHING,
        InstrumentFields,
        instrument_from,
        steel.READS,
        steel.put_steel,
        steel.add_to_steel,
        steel.take_out_of_steel,
        steel.move_in_steel,
    ),
    "scenes": OwnKind(
        plain.SCENE_FROM_NOTHING,
        SceneFields,
        lambda fields, path, noted: scene_from(fields, path, noted),
        plain.SCENE_READS,
        plain.put_scene,
        plain.add_to_scene,
        plain.take_row_out,
        plain.move_row,
    ),
    "drops": OwnKind(
        plain.DROP_FROM_NOTHING,
        DropFields,
        lambda fields, path, noted: drop_from(fields, path),
        plain.DROP_READS,
        plain.put_drop,
        plain.add_to_drop,
        plain.take_row_out,
        plain.move_row,
    ),
    "receivers": OwnKind(
        RECEIVER_FROM_NOTHING,
        Receiver,
        check_receiver,
        RECEIVER_READS,
        put_receiver,
        no_rows,
        no_rows,
        no_rows,
    ),
}
