"""What pages ask with: small typed messages, one JSON object each, told apart by their `do`."""

from typing import Annotated

from msgspec import Meta, Struct

Name = Annotated[str, Meta(max_length=120)]
StringNumber = Annotated[int, Meta(ge=0, le=64)]


class Asked(Struct, tag_field="do", tag=str.lower, forbid_unknown_fields=True, frozen=True):
    """The base of everything that a page asks for."""
