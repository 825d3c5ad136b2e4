"""What pages ask with: small typed messages, one JSON object each, told apart by their `do`."""

from typing import Annotated

from msgspec import Meta, Struct

Name = Annotated[str, Meta(max_length=120)]
StringNumber = Annotated[int, Meta(ge=0, le=64)]
ToneName = Annotated[str, Meta(max_length=20)]  # "4" is string 4; "bass" is what the grip is heard against


class Asked(Struct, tag_field="do", tag=str.lower, forbid_unknown_fields=True, frozen=True):
    """The base of everything that a page asks for."""


class RowFault(Struct, frozen=True):
    """What is wrong with a field of rows, such as "songs[3].key"; "" where it is not one field."""

    field: str
    why: str
