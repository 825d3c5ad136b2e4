"""Receivers while they are tuned: where they are, whether they are there, and until when."""

import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from time import monotonic, sleep
from typing import TYPE_CHECKING

import click

from tonegen.errors import BadValue

if TYPE_CHECKING:
    from tonegen.keys.desk import Desk
    from tonegen.keys.receivers import Receiver
    from tonegen.keys.set_live import PlayedSet
    from tonegen.setlist.records import SetControl

_LOOK_SECONDS = 0.25
# Pedals and levers that one foot and one knee move together arrive one after the other: they are one state.
GATHER_SECONDS = 0.03


def where_it_goes(out: str | None, virtual_out: str | None, to: str | None, receiver: "Receiver") -> str:
    """The door's text for the guard. Raises BadValue unless exactly the right one was given."""
    from tonegen.keys.osc_port import parse_address
    from tonegen.keys.receivers import Osc

    given = [text for text in (out, virtual_out, to) if text]
    if isinstance(receiver, Osc):
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
def tuned_set(
    desk: "Desk",
    where: "Mapping[str, str]",
    controls: "tuple[SetControl, ...]" = (),
    mpe_keyboard: bool = False,
    passes: bool = True,
) -> Iterator["PlayedSet"]:
    """The desk's receivers as a set of one song that follows its knobs, put back at the end."""
    from tonegen.keys.set_live import PlayedSet
    from tonegen.keys.sets import set_of_one_song

    put_back_left()
    played = PlayedSet(
        set_of_one_song(desk.plans(), where, controls), mpe_keyboard=mpe_keyboard, passes=passes
    )
    try:
        playing = played.playing
        playing.steel = desk.stand
        desk.changed, desk.silenced, desk.again = playing.retune, playing.panic, playing.send_again
        yield played
    finally:
        played.close()


def keep_playing(played: "PlayedSet", seconds: float | None) -> None:
    """Look after a set, and tell the player what there is to tell, until the time is over or Ctrl-C."""
    playing = played.playing

    def tell() -> None:
        while playing.told:
            click.echo(playing.told.popleft(), err=True)

    stay([playing.follow_steel, tell, played.look, tell], seconds, playing.moved)


def stay(
    each_time: Sequence[Callable[[], object]],
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
