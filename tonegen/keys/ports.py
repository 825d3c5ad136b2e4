"""MIDI ports: found by name or by part of it, opened, made, and opened again when they come back.

A port's name is what the system gives it. Systems renumber their clients when a cable is put back, so a
port is looked for by what the player typed, each time.
"""

import gc
import os
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, Final

from tonegen.errors import NoSuchDevice
from tonegen.keys.midi import SECONDS_PER_BYTE
from tonegen.keys.stream import Splitter, is_whole

if TYPE_CHECKING:
    import rtmidi

CLIENT_NAME: Final = "tonegen"
# RtMidi hands messages to JACK through a ring of 16 kB, and drops without a word what does not fit in.
LONGEST_AT_JACK_BYTES: Final = 16_379
MAY_LOSE_NOTES: Final = (
    "JACK runs without real-time priority: notes may get lost while the machine is busy; "
    "allow it (on Debian: sudo dpkg-reconfigure -p high jackd2, and join the group audio)."
)
# A connection counts from the MIDI system's next period on, and what was handed over leaves in the next:
# what is sent sooner after opening, or before closing, is lost. On a busy machine periods are late, and so is
# the end of each of these short sleeps: the whole takes longer there.
_PERIOD_SLEEPS: Final = 50
_SLEEP_SECONDS: Final = 0.005
_SECONDS_TO_ARRIVE: Final = 0.1
_LOOKS: Final = 100  # far more than ports go in a row
# Windows offers no virtual ports to programs, and gives a port to one program at a time.
VIRTUAL_PORTS: Final = sys.platform != "win32"
SHARED_PORTS: Final = sys.platform != "win32"


@dataclass(frozen=True, slots=True)
class Port:
    """A port that the system has; `api` is the number of the MIDI system that it belongs to."""

    name: str
    api: int


def outputs() -> tuple[Port, ...]:
    """The ports that messages can be sent to."""
    return _ports(output=True)


def inputs() -> tuple[Port, ...]:
    """The ports that messages come from."""
    return _ports(output=False)


def choose(asked: str, ports: Sequence[Port], kind: str) -> Port:
    """The port of that name, or the only one whose name has that part, in any case.

    Raises NoSuchDevice naming those there are.
    """
    exact = [port for port in ports if port.name == asked]
    near = exact or [port for port in ports if asked.lower() in port.name.lower()]
    if len(near) == 1 or exact:
        return near[0]
    if near:
        raise NoSuchDevice(f'several MIDI {kind}s match "{asked}": {_list(near)}; give more of the name')
    none = (
        "there are none; plug in or start the receiver" if kind == "output" else "there are none; plug it in"
    )
    there = f"there are {_list(ports)}" if ports else none
    raise NoSuchDevice(f'there is no MIDI {kind} called "{asked}"; {there}')


def _list(ports: Sequence[Port]) -> str:
    return ", ".join(f'"{port.name}"' for port in ports)


def _ports(output: bool) -> tuple[Port, ...]:
    clients = _clients(output)
    try:
        return _seen_by(clients)
    finally:
        for client in clients.values():
            client.delete()


def _found(asked: str, output: bool) -> tuple[str, int, Any]:
    """The name of a port, the MIDI system that has it, and a client there, which can open it.

    A new client for that would hold the program up as long again. Raises NoSuchDevice.
    """
    clients = _clients(output)
    try:
        port = choose(asked, _seen_by(clients), "output" if output else "input")
        return port.name, port.api, clients.pop(port.api)
    finally:
        for other in clients.values():
            other.delete()


def _clients(output: bool) -> dict[int, Any]:
    """One of each MIDI system that runs, by its number."""
    found = {api: _client(output, api) for api in _apis()}
    return {api: client for api, client in found.items() if client is not None}


def _seen_by(clients: Mapping[int, Any]) -> tuple[Port, ...]:
    return tuple(Port(name, api) for api, client in clients.items() for name in _names(client))


def _rtmidi() -> ModuleType:
    """python-rtmidi, which not every Python has a wheel of. Raises NoSuchDevice saying what to install."""
    try:
        import rtmidi
    except ImportError:
        raise NoSuchDevice(
            "MIDI ports need python-rtmidi, which this Python does not have; on Debian install "
            "python3-rtmidi and make .venv with --system-site-packages, elsewhere use Python 3.12"
        ) from None
    module: ModuleType = rtmidi
    return module


def _apis() -> list[int]:
    rtmidi = _rtmidi()
    return [api for api in rtmidi.get_compiled_api() if api != rtmidi.API_RTMIDI_DUMMY]


def _client(output: bool, api: int) -> "rtmidi.MidiOut | rtmidi.MidiIn | None":
    """A client of one MIDI system; None where that system does not run."""
    rtmidi = _rtmidi()
    os.environ.setdefault("JACK_NO_START_SERVER", "1")  # looking for ports must not start a sound server
    make = rtmidi.MidiOut if output else rtmidi.MidiIn
    try:
        with _quiet():
            return make(rtapi=api, name=CLIENT_NAME)
    except rtmidi.SystemError:
        return None


def _first_client(output: bool) -> "rtmidi.MidiOut | rtmidi.MidiIn":
    """A client of the first MIDI system that runs, for a virtual port. Raises NoSuchDevice."""
    if not VIRTUAL_PORTS:
        raise NoSuchDevice("this system has no virtual MIDI ports; give the name of a port that it has")
    for api in _apis():
        client = _client(output, api)
        if client is not None:
            return client
    raise NoSuchDevice("no MIDI system is running in which a virtual port could be made")


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep what the systems' libraries print about each other off the screen."""
    sys.stderr.flush()
    kept = os.dup(2)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def _names(client: Any) -> Sequence[str]:
    """The ports that a client sees. It asks for one name after the other, while ports come and go."""
    for _ in range(_LOOKS):
        with suppress(_rtmidi().RtMidiError):  # else there was one fewer at the end than at the beginning
            names: Sequence[str] = client.get_ports()
            return names
    return ()


def _opened(client: Any, name: str, own_name: str | None = None, at_once: bool = False) -> bool:
    """Connect a client to a port; false when it has gone, or another program holds it."""
    names = _names(client)
    if name not in names:
        return False
    try:
        with _quiet():
            client.open_port(names.index(name), own_name)
    except _rtmidi().RtMidiError:
        return False
    if not at_once:
        _let_a_period_pass()
    return True


def _let_a_period_pass() -> None:
    for _ in range(_PERIOD_SLEEPS):
        time.sleep(_SLEEP_SECONDS)


def _held(kind: str, name: str) -> NoSuchDevice:
    return NoSuchDevice(
        f'the MIDI {kind} "{name}" cannot be opened; close any other program that uses it, or replug it'
    )


def _is_at_jack(client: Any) -> bool:
    jack: int = _rtmidi().API_UNIX_JACK
    return bool(client.get_current_api() == jack)


def _has_a_prior_thread() -> bool:
    """Whether the system gives any thread of this process real-time priority; true where nobody knows."""
    if not hasattr(os, "sched_getscheduler"):
        return True
    for thread in Path("/proc/self/task").iterdir():
        with suppress(OSError):  # it has just ended
            if os.sched_getscheduler(int(thread.name)) & ~os.SCHED_RESET_ON_FORK in (
                os.SCHED_FIFO,
                os.SCHED_RR,
            ):
                return True
    return False


class MidiOutput:
    """A port that messages are sent to: a door."""

    seconds_per_byte = SECONDS_PER_BYTE

    def __init__(
        self, asked: str, virtual: bool = False, own_name: str | None = None, at_once: bool = False
    ) -> None:
        """Open the port that matches `asked`, or make a virtual one of that name. Raises NoSuchDevice.

        own_name : what the program's own end of the connection is called, for who looks for it.
        at_once : do not wait until the connection counts; what is sent within a quarter of a second is lost.
        """
        self._asked = asked
        self._virtual = virtual
        self._own_name = own_name
        self._out: Any
        if virtual:
            self.name, self._out = asked, _first_client(output=True)
            self._out.open_virtual_port(asked)
            return
        self.name, _, self._out = _found(asked, output=True)
        if not _opened(self._out, self.name, own_name, at_once):
            self._out.delete()
            raise _held("output", self.name)

    def send(self, message: bytes) -> None:
        """Hand one message over, whole, with its status. One that has gone takes none; `is_there` says so.

        A system exclusive message that JACK would lose without a word is refused with a line on stderr.
        """
        if len(message) > LONGEST_AT_JACK_BYTES and _is_at_jack(self._out):
            with suppress(OSError):
                sys.stderr.write(
                    f"tonegen: a system exclusive message of {len(message)} bytes was not passed on: JACK "
                    f"takes {LONGEST_AT_JACK_BYTES} at most; send it to the receiver by a direct cable\n"
                )
            return
        try:
            self._out.send_message(message)
        except _rtmidi().RtMidiError:
            pass

    def is_there(self, thorough: bool = False) -> bool:
        """Whether the port is open, and still among those of the system.

        thorough : ask by a new client; an old one never learns that a system has ended.
        """
        if self._virtual:
            return True
        names = [port.name for port in outputs()] if thorough else _names(self._out)
        return self._out.is_port_open() and self.name in names

    def reconnect(self) -> bool:
        """Open it again under whatever name it came back; whether it is there."""
        if self._virtual:
            return True
        names = [Port(name, 0) for name in _names(self._out)]
        try:
            name = choose(self._asked, names, "output").name
        except NoSuchDevice:
            return False
        self._out.close_port()
        self.name = name
        return _opened(self._out, name, self._own_name)

    def close(self) -> None:
        """Let go of the port, once what was sent is on its way."""
        if self._out is not None:
            _let_a_period_pass()
            self._out.close_port()
            self._out.delete()
            self._out = None


class MidiSources:
    """All that messages come from, programs' own ends among them, seen by clients that stay open.

    So a look takes no time, and asks nothing of a MIDI system that is busy.
    """

    def __init__(self) -> None:
        """Open a client of each MIDI system that runs."""
        self._clients = _clients(output=False)

    def names(self) -> tuple[str, ...]:
        """Their names, as the systems have them now."""
        return tuple(port.name for port in _seen_by(self._clients))


class MidiInput:
    """A port that messages come from, each handed to `receive` the moment it arrives."""

    def __init__(self, asked: str, receive: Callable[[bytes], object], virtual: bool = False) -> None:
        """Open the port that matches `asked`, or make a virtual one. Raises NoSuchDevice.

        receive : called in the MIDI system's own thread; it must be quick, and not raise.
        """
        self._asked = asked
        self._virtual = virtual
        self._receive = receive
        self._in: Any
        if virtual:
            self.name = asked
            self._listen_with(_first_client(output=False))
            self._in.open_virtual_port(asked)
        else:
            self.name, self._api, client = _found(asked, output=False)
            if not self._open(client):
                self.close()
                raise _held("input", self.name)

    def _listen_with(self, client: Any) -> None:
        """Take a new client in use; all is set before it opens, so that no message passes by."""
        receive = self._receive

        def arrived(event: tuple[list[int], float], _: object) -> None:
            message = bytes(event[0])
            if is_whole(message):
                receive(message)
            else:  # another program may send anything; JACK gives notes inside a sysex that was cut
                for one in Splitter().feed(message):
                    receive(one)

        self._in = client
        client.ignore_types(sysex=False, timing=False, active_sense=True)
        client.set_callback(arrived)
        # The client drops what it calls as soon as it is told to call it no more, also where the system's
        # thread is about to call it, which would crash: hold it here.
        self._called = gc.get_referrers(arrived)

    @property
    def may_lose_notes(self) -> bool:
        """Whether JACK may pass over notes on a busy machine, having no real-time priority here."""
        return _is_at_jack(self._in) and not _has_a_prior_thread()

    def _open(self, client: Any) -> bool:
        self._listen_with(client)
        return _opened(client, self.name)

    def is_there(self) -> bool:
        """Whether the port is still among those of the system."""
        return self._virtual or self.name in _names(self._in)

    def reconnect(self) -> bool:
        """Open it again, with a new client, under whatever name it came back; whether it is there.

        A new client holds this process up while it opens, so there is none until the port is there.
        """
        try:
            port = choose(self._asked, [Port(name, self._api) for name in _names(self._in)], "input")
        except NoSuchDevice:
            return False
        self.close()
        self.name = port.name
        return self._open(_client(False, self._api))

    def close(self) -> None:
        """Let go of the port, once a message that is on its way to `receive` has got there."""
        if self._in is not None:
            self._in.cancel_callback()
            time.sleep(_SECONDS_TO_ARRIVE)
            self._in.close_port()
            self._in.delete()
            self._in = None
