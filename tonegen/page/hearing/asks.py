"""What pages ask about strings that are heard."""

from typing import Annotated, Literal

from msgspec import Meta

from tonegen.page.asked import Asked, Name, StringNumber, ToneName

Purpose = Literal["", "drop", "order", "count", "learn"]  # which part of the page needs what is heard


class Listen(Asked, frozen=True):
    """Listen for what a part of the page needs; "" ends it. low, high : the tones that are counted."""

    what: Purpose
    low: ToneName = ""
    high: ToneName = ""


class NamePick(Asked, tag="picked", frozen=True):
    """Say which of the strings that play its note was picked, while strings are learned."""

    string: StringNumber


class KeepLearned(Asked, frozen=True):
    """Keep with the instrument what was learned of its strings."""


class ChooseInput(Asked, tag="input", frozen=True):
    """Listen at an input of this machine from now on: None is the usual one, channel 0 the loudest."""

    name: Name | None = None
    channel: Annotated[int, Meta(ge=0, le=1000)] = 0


class ShowInputs(Asked, tag="inputs", frozen=True):
    """Show the sound inputs that the machine has."""
