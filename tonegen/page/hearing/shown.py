"""What pages are shown of the ear: where it listens, and what it heard."""

from msgspec import Struct

from tonegen.page.hearing import asks


class ChosenInput(Struct, frozen=True):
    """Where it listens. name : None is the usual input. channel : 0 is the loudest."""

    name: str | None = None
    channel: int = 0


class InputView(Struct, frozen=True):
    """An input of this machine."""

    name: str
    channels: int


class InputsView(Struct, tag="inputs", frozen=True):
    """The inputs that were found, and which is chosen."""

    inputs: tuple[InputView, ...]
    chosen: str | None
    channel: int


class Hearing(Struct, tag="hearing", frozen=True):
    """What is heard. what : for which part, "" for none, at `device`; `words` say it, or why nothing.

    sure : how sure that is, in words. silent : nothing comes in. pick : counts what was heard; of the last,
    `strings` play its note, and `cents` is what a meter would show. beats_per_second : of a pair, 0 where
    none was heard; side : "wide", "narrow", or "" where it was not heard.
    """

    what: asks.Purpose = ""
    device: str = ""
    silent: bool = False
    pick: int = 0
    strings: tuple[int, ...] = ()
    cents: str = ""
    beats_per_second: float = 0.0
    side: str = ""
    words: str = ""
    sure: str = ""
