"""A receiver while it is tuned: where it is, whether it is there, and until when."""

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from time import monotonic, sleep
from typing import TYPE_CHECKING

import click

from tonegen.errors import BadValue

if TYPE_CHECKING:
    from tonegen.keys.live import TunedReceiver
    from tonegen.keys.plan import Plan
    from tonegen.keys.receivers import Receiver

_LOOK_SECONDS = 0.25
# Pedals and levers that one foot and one knee move together arrive one after the other: they are one state.
GATHER_SECONDS = 0.03


def where_it_goes(out: str | None, virtual_out: str | None, to: str | None, made: "Plan") -> str:
    """The door's text for the guard. Raises BadValue unless exactly the right one was given."""
    from tonegen.keys.osc_port import parse_address
    from tonegen.keys.receivers import Osc

    given = [text for text in (out, virtual_out, to) if text]
    if isinstance(made.receiver, Osc):
        if len(given) != 1 or not to:
            raise BadValue("an OSC receiver needs --to HOST:PORT, such as --to 127.0.0.1:9000")
        if not parse_address(to)[1]:
            raise BadValue(
                f'"{to}" has no usable port; give the one that the receiver listens on, 1 to 65535'
            )
        return f"osc {to}"
    if len(given) != 1 or to:
        raise BadValue("say where MIDI goes: --out PORT (see: tonegen keys ports), or --virtual-out NAME")
    return f"midi {out}" if out else f"virtual {virtual_out}"


def put_back_left() -> bool:
    """Put back what programs that were killed left tuned, and tell the player; whether all of it is back."""
    from tonegen.keys import left

    return left.put_back_left(lambda line: click.echo(line, err=True))


def refuse_notes(name: str, receiver: "Receiver") -> None:
    """Raises BadValue for a receiver that is sent nothing but notes, where none pass."""
    from tonegen.keys.receivers import Osc

    if isinstance(receiver, Osc) and receiver.retunes_notes:
        raise BadValue(
            f"{name} gets each note as you play it, and nothing before; send your notes through: "
            f"tonegen keys through --in PORT --receiver {name} --to HOST:PORT"
        )


@contextmanager
def tuned_rig(where: str, made: "Plan") -> Iterator["TunedReceiver"]:
    """A receiver that is tuned while this lasts, and put back at its end."""
    from tonegen.keys.live import TunedReceiver

    put_back_left()
    rig = TunedReceiver(where, made)
    try:
        yield rig
    finally:
        rig.close()


def looking(rig: "TunedReceiver", came_back: Callable[[], None]) -> Callable[[], None]:
    """A look at the receiver, told to the player when it goes and when it comes back."""
    from tonegen.keys.live import Presence

    was = [Presence.THERE]

    def look() -> None:
        now = rig.look()
        if now is Presence.GONE and was[0] is not Presence.GONE:
            click.echo("The receiver is not connected; it will be tuned as soon as it is.", err=True)
        if now is Presence.BACK:
            came_back()
            click.echo("The receiver is connected, and tuned.", err=True)
        was[0] = now

    return look


class Following:
    """Keeps a receiver to the latest plan: those that come before it is sent are passed over."""

    def __init__(
        self,
        retune: Callable[["Plan"], object],
        wake: threading.Event,
        tune_again: Callable[[], object] = lambda: None,
    ) -> None:
        """Take what brings the receiver to a plan, what wakes the main thread, and what sends all again."""
        self._retune = retune
        self._tune_again = tune_again
        self._whole = False
        self._wake = wake
        self._waiting: list[Plan] = []

    def take(self, made: "Plan") -> None:
        """From any thread: have this sent, in place of what still waits."""
        self._waiting[:] = [made]
        self._wake.set()

    def again(self) -> None:
        """From any thread: have the whole tuning sent."""
        self._whole = True
        self._wake.set()

    def send(self) -> None:
        """In the main thread: send what waits."""
        while self._waiting:
            self._retune(self._waiting.pop())
        if self._whole:
            self._whole = False
            self._tune_again()


def stay(
    each_time: Sequence[Callable[[], None]],
    seconds: float | None,
    wake: threading.Event | None = None,
    pause: Callable[[float], object] = sleep,
) -> None:
    """Do these again and again until the time is over or Ctrl-C; when woken, once moves are gathered."""
    wake = wake or threading.Event()
    until = monotonic() + seconds if seconds is not None else float("inf")
    try:
        while (left := until - monotonic()) > 0:
            if wake.wait(min(_LOOK_SECONDS, left)):
                pause(GATHER_SECONDS)
            wake.clear()
            for do in each_time:
                do()
    except KeyboardInterrupt:
        pass  # the usual way to end
