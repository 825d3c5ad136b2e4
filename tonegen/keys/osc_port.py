"""OSC over UDP: out to a receiver, and in from a foot controller or another program.

What comes in drives a `Controller`, which the command line or the page provides. Every packet is answered,
by the state or by an error, to where it came from.
"""

import json
import socket
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from threading import Thread
from typing import Any, Final, Protocol

from tonegen.errors import BadValue, NoSuchDevice, TonegenError
from tonegen.keys.osc import Argument, Message, decode, encode

LOOPBACK: Final = "127.0.0.1"
_LONGEST_PACKET: Final = 65507
_LOOK_SECONDS: Final = 2.0
_NOTHING: Final = b"#bundle\0" + bytes(7) + b"\1"  # an empty bundle, for at once


def parse_address(text: str) -> tuple[str, int]:
    """Host and port of "127.0.0.1:9000", or of ":9000" on this machine. Raises BadValue."""
    host, colon, port = text.rpartition(":")
    if not colon or not (port.isascii() and port.isdigit() and len(port) < 6 and int(port) < 65536):
        raise BadValue(f'"{text}" is not an address; write host and port, such as 127.0.0.1:9000')
    return host.strip("[]") or LOOPBACK, int(port)


class OscOutput:
    """An address that packets are sent to: a door.

    UDP tells nobody whether they arrive; but a machine refuses what nothing there listens for, and says so.
    """

    seconds_per_byte = 8e-6  # a megabit a second: no receiver's buffer overflows, and a pedal is not held up

    def __init__(self, host: str, port: int) -> None:
        """Look the host up once. Raises NoSuchDevice when there is none."""
        try:
            family, kind, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_DGRAM)[0]
            self._socket = socket.socket(family, kind)
            self._socket.connect(address)  # only then is a refusal told
        except (OSError, UnicodeError) as error:
            raise NoSuchDevice(f'OSC cannot be sent to "{host}": {_reason(error)}') from None
        self._there = True
        self._look_at = 0.0

    @classmethod
    def to(cls, text: str) -> "OscOutput":
        """The door to "host:port"."""
        return cls(*parse_address(text))

    def send(self, message: bytes) -> None:
        """Send one packet. A receiver that is not there yet is no error: it may come."""
        try:
            self._socket.send(message)
        except ConnectionError:  # told late, of one before: what that tuned is sent again with the next look
            self._there, self._look_at = False, time.monotonic() + _LOOK_SECONDS
            with suppress(ConnectionError):
                self._socket.send(message)
        except OSError as error:
            raise NoSuchDevice(f"OSC cannot be sent: {_reason(error)}") from None

    def is_there(self, thorough: bool = False) -> bool:
        """Whether what was sent last was not refused; if it was, an empty packet asks every few seconds.

        thorough : not for the undo, which is sent in any case.
        """
        if thorough:
            return True
        if self._refused():
            self._there, self._look_at = False, time.monotonic() + _LOOK_SECONDS
        if not self._there and time.monotonic() >= self._look_at:
            self._look_at = time.monotonic() + _LOOK_SECONDS
            with suppress(ConnectionError):
                self._socket.send(_NOTHING)
            self._there = not self._refused()
        return self._there

    def _refused(self) -> bool:
        return self._socket.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR) != 0

    def reconnect(self) -> bool:
        """Nothing to open: whether it is there."""
        return self.is_there()

    def close(self) -> None:
        """Let go of the socket."""
        self._socket.close()


class Controller(Protocol):
    """What OSC can do to the running program. Each call raises a TonegenError for what makes no sense."""

    def engage(self, change: str, travel: float) -> None:
        """Engage a pedal or lever by a travel from 0 (at rest) to 1."""

    def fret(self, fret: float) -> None:
        """Put the bar to a fret."""

    def temperament(self, name: str, root: str | None) -> None:
        """Choose a temperament by its name, and what it is built on."""

    def play(self, tones: tuple[str, ...]) -> None:
        """Sound tones, each a note, a frequency, or a grip of strings."""

    def stop(self) -> None:
        """End what sounds."""

    def panic(self) -> None:
        """End everything that sounds, here and at the receiver."""

    def song(self, name: str) -> None:
        """Go to a song."""

    def send_again(self) -> None:
        """Send the whole tuning once more."""

    def state(self) -> Mapping[str, Any]:
        """What is set now."""


def _float(value: Argument) -> float:
    if isinstance(value, str | bytes) or not abs(value) < float("inf"):
        raise BadValue(f"{value!r} is not a finite number")
    return float(value)


def _text(value: Argument) -> str:
    if not isinstance(value, str):
        raise BadValue(f"{value!r} is not text")
    return value


def _tone(value: Argument) -> str:
    return value if isinstance(value, str) else repr(_float(value))


def _root(values: tuple[Argument, ...]) -> str | None:
    return _text(values[1]) if len(values) > 1 else None


class SetController(Protocol):
    """What OSC can do to a set that is played."""

    def next(self) -> None:
        """Go on to the next song."""

    def previous(self) -> None:
        """Go back to the one before."""

    def number(self, number: int) -> None:
        """Go to the song of that number."""

    def hold(self) -> None:
        """Let nothing go on, or let it again."""

    def engage(self, change: str, travel: float) -> None:
        """Engage a pedal or lever of the steel by a travel from 0 (at rest) to 1."""

    def panic(self) -> None:
        """End everything that sounds."""

    def send_again(self) -> None:
        """Send the whole tuning once more."""

    def state(self) -> Mapping[str, Any]:
        """What is now and next, and how each receiver stands."""


def _whole(value: Argument) -> int:
    number = _float(value)
    if number != int(number):
        raise BadValue(f"{number:g} is the number of no song; songs have whole numbers")
    return int(number)


_Call = Callable[[Any, tuple[Argument, ...]], None]
_Addresses = Mapping[str, tuple[str, int, int, _Call]]

_ENGAGE: Final[tuple[str, int, int, _Call]] = (
    "change, travel 0 to 1", 1, 2,
    lambda to, v: to.engage(_text(v[0]), _float(v[1]) if len(v) > 1 else 1.0),
)  # fmt: skip
_RELEASE: Final[tuple[str, int, int, _Call]] = ("change", 1, 1, lambda to, v: to.engage(_text(v[0]), 0.0))

# Address, its arguments as shown in errors, how many at least and at most, and what it does.
ADDRESSES: Final[_Addresses] = {
    "/tonegen/engage": _ENGAGE,
    "/tonegen/release": _RELEASE,
    "/tonegen/fret": ("fret", 1, 1, lambda to, v: to.fret(_float(v[0]))),
    "/tonegen/temperament": (
        "name, root", 1, 2, lambda to, v: to.temperament(_text(v[0]), _root(v)),
    ),
    "/tonegen/play": ("tones or grips", 1, 16, lambda to, v: to.play(tuple(map(_tone, v)))),
    "/tonegen/stop": ("nothing", 0, 0, lambda to, v: to.stop()),
    "/tonegen/panic": ("nothing", 0, 0, lambda to, v: to.panic()),
    "/tonegen/song": ("name", 1, 1, lambda to, v: to.song(_text(v[0]))),
    "/tonegen/send-again": ("nothing", 0, 0, lambda to, v: to.send_again()),
    "/tonegen/state": ("nothing", 0, 0, lambda to, v: None),
}  # fmt: skip


SET_ADDRESSES: Final[_Addresses] = {
    "/tonegen/set/next": ("nothing", 0, 0, lambda to, v: to.next()),
    "/tonegen/set/previous": ("nothing", 0, 0, lambda to, v: to.previous()),
    "/tonegen/set/number": ("number of a song", 1, 1, lambda to, v: to.number(_whole(v[0]))),
    "/tonegen/set/hold": ("nothing", 0, 0, lambda to, v: to.hold()),
    "/tonegen/engage": _ENGAGE,
    "/tonegen/release": _RELEASE,
    "/tonegen/panic": ("nothing", 0, 0, lambda to, v: to.panic()),
    "/tonegen/send-again": ("nothing", 0, 0, lambda to, v: to.send_again()),
    "/tonegen/state": ("nothing", 0, 0, lambda to, v: None),
}


def answer(
    packet: bytes, controller: Controller | SetController, addresses: _Addresses = ADDRESSES
) -> list[bytes]:
    """Do what a packet says, and give the packets that answer it: the state, or an error for each fault."""
    try:
        messages = decode(packet)
    except BadValue as error:
        return [_error("", error)]
    replies = []
    for message in messages:
        try:
            _do(message, controller, addresses)
        except TonegenError as error:
            replies.append(_error(message.address, error))
        except Exception as error:  # whatever a packet brings about, the next one must be heard
            replies.append(_error(message.address, BadValue(f"this went wrong: {error}")))
        else:
            replies.append(encode(Message("/tonegen/state", (json.dumps(controller.state()),))))
    return replies


def _do(message: Message, controller: Controller | SetController, addresses: _Addresses) -> None:
    if message.address not in addresses:
        raise BadValue(f"there is no {message.address[:60]}; there are {', '.join(addresses)}")
    takes, least, most, call = addresses[message.address]
    if not least <= len(message.arguments) <= most:
        raise BadValue(f"{message.address} takes {takes}")
    call(controller, message.arguments)


def _error(address: str, error: TonegenError) -> bytes:
    return encode(Message("/tonegen/error", (address, str(error).replace("\0", ""))))


class OscInput:
    """Listens for packets and answers each, one after the other, in a thread of its own."""

    def __init__(
        self,
        controller: Controller | SetController,
        host: str = LOOPBACK,
        port: int = 0,
        addresses: _Addresses = ADDRESSES,
    ) -> None:
        """Bind; `port` 0 takes a free one, see `port`. Raises NoSuchDevice when the address is taken."""
        self._controller = controller
        self._addresses = addresses
        try:
            family, kind, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_DGRAM)[0]
            self._socket = socket.socket(family, kind)
        except (OSError, UnicodeError) as error:
            raise NoSuchDevice(f"OSC cannot be received at {host}:{port}: {_reason(error)}") from None
        try:
            self._socket.bind(address)
        except OSError as error:
            self._socket.close()
            raise NoSuchDevice(f"OSC cannot be received at {host}:{port}: {_reason(error)}") from None
        self.port: int = self._socket.getsockname()[1]
        self._thread = Thread(target=self._listen, name="osc", daemon=True)
        self._thread.start()

    def _listen(self) -> None:
        while True:
            try:
                packet, sender = self._socket.recvfrom(_LONGEST_PACKET)
            except ConnectionResetError:  # an answer found nobody
                continue
            except OSError:  # closed
                return
            if not packet:  # ours, to wake up and end
                return
            for reply in answer(packet, self._controller, self._addresses):
                try:
                    self._socket.sendto(reply, sender)
                except OSError:  # whoever asked has gone, or the state is larger than a packet
                    continue

    def close(self) -> None:
        """End the thread and let go of the socket."""
        host, port = self._socket.getsockname()[:2]
        try:
            with socket.socket(self._socket.family, socket.SOCK_DGRAM) as waker:
                waker.sendto(b"", (host if host not in ("0.0.0.0", "::") else "localhost", port))
            self._thread.join(2.0)
        finally:
            self._socket.close()


def _reason(error: OSError | UnicodeError) -> str:
    return (getattr(error, "strerror", None) or str(error)).lower()
