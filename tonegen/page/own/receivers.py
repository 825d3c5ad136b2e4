"""A receiver while it is typed: what each means has."""

import re
from pathlib import Path
from typing import Any, Final, get_args

from msgspec.structs import fields as fields_of

from tonegen.errors import BadField, BadValue
from tonegen.keys.receivers import Receiver
from tonegen.presets.drafts import Noted, Reads, Sheet, Way, put

RECEIVER_READS: Final[dict[str, Reads]] = {
    "title": "text",
    "source": "text",
    "means": "text",
    "reference_hz": "number",
    "resolution_cents": "number",
    "rounding": "text",
    "sysex_seconds": "number",
    "reset": "texts",
    "channels": "numbers",
    "untouched": "numbers",
    "manager": "whole",
    "release_seconds": "number",
    "bend_range_semitones": "whole",
    "rest_bend_range_semitones": "whole",
    "wheel_range_semitones": "whole",
    "bend_scale": "number",
    "message": "text",
    "program": "whole",
    "bank": "whole",
    "programs": "whole",
    "select": "numbers",
    "bytes": "whole",
    "real_time": "yes",
    "each": "text",
    "address": "text",
    "arguments": "texts",
    "off_address": "text",
    "off_arguments": "texts",
}
RECEIVER_FROM_NOTHING: Final = """\
title = "My keyboard"

# The first of these channels is tuned for C, the next for C#, and so on to B.
means = "bend per pitch class"
channels = [1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13]
"""
_MODELS: Final = {str(model.__struct_config__.tag): model for model in get_args(Receiver)}
_NEEDED: Final[dict[str, Any]] = {
    "channels": [1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13],
    "message": "single note",
    "each": "key",
    "address": "/tune/key",
    "arguments": ["i {key}", "f {hz}"],
}


def put_receiver(sheet: Sheet, way: Way, kind: Reads, typed: str) -> None:
    """Write what was typed; by another means it keeps what that has as well, and gets what that needs."""
    put(sheet, way, kind, typed)
    if way != ("means",) or typed not in _MODELS:
        return
    has = {one.encode_name: one.required for one in fields_of(_MODELS[typed])}
    sheet.values = {name: value for name, value in sheet.values.items() if name in has or name == "means"} | {
        name: _NEEDED[name]
        for name, needed in has.items()
        if needed and name not in sheet.values and name in _NEEDED
    }


def no_rows(sheet: Sheet, way: Way, to: int = 0) -> None:
    """A receiver has none. Raises BadValue."""
    raise BadValue("there are no such rows")


def check_receiver(receiver: Any, path: Path, noted: Noted) -> None:
    """Whether its fields fit each other. Raises BadField."""
    try:
        receiver.check()
    except BadValue as error:
        found = re.match(r"(\w+): (.*)", str(error))
        field, why = (
            (found[1], found[2]) if found and found[1] in RECEIVER_READS else ("channels", str(error))
        )
        raise BadField(f"{path}: {error}", field, why) from None
