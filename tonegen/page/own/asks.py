"""What pages ask of a preset that is being made. A field goes by its name, such as "changes[2].moves.5"."""

from typing import Annotated

from msgspec import Meta

from tonegen.page.asked import Asked, Name
from tonegen.page.setting import KindOfOwn

FieldName = Annotated[str, Meta(max_length=200)]
TypedText = Annotated[str, Meta(max_length=4000)]


class StartOwn(Asked, frozen=True):
    """Begin one of the player's own: like another preset, or from nothing."""

    kind: KindOfOwn
    like: Name = ""


class OpenOwn(Asked, frozen=True):
    """Take one of the player's own, to change it."""

    kind: KindOfOwn
    name: Name


class PutOwn(Asked, frozen=True):
    """Write what was typed into a field; "name" is what it will be saved as."""

    field: FieldName
    typed: TypedText


class AddOwn(Asked, frozen=True):
    """One more of these rows; `named` where its name is known already."""

    rows: FieldName
    named: Name = ""


class TakeInstrument(Asked, frozen=True):
    """Have the strings and changes of this steel in the form of a drop profile."""

    name: Name


class TakeOwnOut(Asked, frozen=True):
    """Take a row out, with what is said of it elsewhere; or all "misfits", grips that are wrong."""

    row: FieldName


class MoveOwn(Asked, frozen=True):
    """Move a row to another place among its own."""

    row: FieldName
    to: Annotated[int, Meta(ge=0, le=999)]


class SaveOwn(Asked, frozen=True):
    """Write it, whole or not at all."""


class ReadOwn(Asked, frozen=True):
    """Read its file again, in place of what was changed here."""


class ForgetOwn(Asked, frozen=True):
    """Put it away without saving."""
