"""A press of a foot board waited for, at every MIDI input that there is, or that comes meanwhile."""

import re
from collections.abc import Mapping, Sequence
from functools import partial
from queue import Empty, Queue
from time import monotonic
from types import TracebackType
from typing import Final

from tonegen.errors import NoSuchDevice
from tonegen.keys.controls import control_fields
from tonegen.keys.ports import MidiInput, Port, choose, inputs

# A system counts its clients; the next time it may be another number.
_CLIENT_NUMBER: Final = re.compile(r" \d+:\d+$")
_LOOK_SECONDS: Final = 1.0


class PressReader:
    """Hears all inputs until it is closed; a context manager.

    silent : a line for each port that could not be opened.
    """

    def __init__(self, keyboard: str | None = None) -> None:
        """Open them.

        keyboard : the one that is played, if a pedal or key of its own is to be the control.
        Raises NoSuchDevice where there is no input, or not that one.
        """
        ports = inputs()
        if not ports:
            raise NoSuchDevice("there is no MIDI input; plug in or switch on the foot board")
        self._keyboard = choose(keyboard, ports, "input").name if keyboard else None
        self._arrived: Queue[tuple[str, bytes]] = Queue()
        self._sources: dict[str, MidiInput | None] = {}  # None for one that could not be opened
        self.silent: list[str] = []
        self._hear(ports)

    def _hear(self, ports: Sequence[Port]) -> None:
        """Open those that came, and let go of those that went."""
        for name in self._sources.keys() - {port.name for port in ports}:
            if (gone := self._sources.pop(name)) is not None:
                gone.close()
        for name in [port.name for port in ports if port.name not in self._sources]:
            try:
                self._sources[name] = MidiInput(name, partial(self._noted, name))
            except NoSuchDevice as error:
                self._sources[name] = None
                self.silent.append(str(error))
        self._look_at = monotonic() + _LOOK_SECONDS

    def __enter__(self) -> "PressReader":
        """All are heard."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Let go of them."""
        self.close()

    def _noted(self, port: str, message: bytes) -> None:
        self._arrived.put((port, message))

    def next(self, does: str, seconds: float) -> Mapping[str, str | int] | None:
        """Wait so long for a press that can do this; its row of a set's file, as `control_fields` has it.

        From any port but the keyboard that is played it says `from` where it comes.
        """
        try:
            name, message = self._arrived.get(timeout=seconds)
        except Empty:
            if monotonic() >= self._look_at:  # a foot board may be plugged in just now
                self._hear(inputs())
            return None
        fields = control_fields(message, does)
        if fields is None or name == self._keyboard:
            return fields
        return {"from": _CLIENT_NUMBER.sub("", name), **fields}

    def close(self) -> None:
        """Let go of the ports."""
        for source in self._sources.values():
            if source is not None:
                source.close()
        self._sources.clear()


def press_in_words(fields: Mapping[str, str | int]) -> str:
    """Which control it is, and what it does.

    >>> press_in_words({"from": "Foot board", "on": "control 80", "channel": 1, "does": "next"})
    'control 80 of "Foot board": next'
    """
    port = f'"{fields["from"]}"' if "from" in fields else "the keyboard"
    return f"{fields['on']} of {port}: {fields.get('does') or fields.get('moves') or 'number'}"
