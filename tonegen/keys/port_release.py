"""Connections at JACK let go of for a program that was killed.

A receiver hears nothing while it is connected to a client that was killed. JACK takes out such clients one
after the other, each for its whole timeout, and attends to nobody meanwhile. It learns of each by its socket,
so the guard holds these open as well until it has taken the connections apart, which takes JACK no time.
RtMidi has no call for that.
"""

import ctypes
import os
import socket
import stat
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from tonegen.keys.ports import CLIENT_NAME, quiet

_LIBRARY: Final = "libjack.so.0"
_NO_START_SERVER: Final = 1  # JackNoStartServer of jack/types.h
_SERVER: Final = "/jack_"  # in the address of a server
_DESCRIPTORS: Final = Path("/proc/self/fd")


class PortRelease:
    """A client of JACK's without ports, which takes apart connections of others."""

    def __init__(self) -> None:
        """Raises OSError where there is no JACK, or it takes no more clients."""
        if sys.platform != "linux":
            raise OSError
        self._jack = ctypes.CDLL(_LIBRARY)
        for call, result, *arguments in (
            ("jack_client_open", ctypes.c_void_p, ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p),
            ("jack_port_by_name", ctypes.c_void_p, ctypes.c_void_p, ctypes.c_char_p),
            ("jack_port_connected", ctypes.c_int, ctypes.c_void_p),
            ("jack_port_disconnect", ctypes.c_int, ctypes.c_void_p, ctypes.c_void_p),
            ("jack_client_close", ctypes.c_int, ctypes.c_void_p),
        ):
            function: Any = getattr(self._jack, call)
            function.restype, function.argtypes = result, arguments
        with quiet():
            self._client = self._jack.jack_client_open(CLIENT_NAME.encode(), _NO_START_SERVER, None)
        if not self._client:
            raise OSError

    def let_go(self, port: str) -> None:
        """Take apart all connections of a port; it counts once `holds` says so."""
        if found := self._find(port):
            self._jack.jack_port_disconnect(self._client, found)

    def holds(self, port: str) -> bool:
        """Whether a port is there and connected, in the period that is under way."""
        found = self._find(port)
        return bool(found and self._jack.jack_port_connected(found))

    def _find(self, port: str) -> int | None:
        found: int | None = self._jack.jack_port_by_name(self._client, port.encode())
        return found

    def close(self) -> None:
        """Leave JACK."""
        self._jack.jack_client_close(self._client)


def open_descriptors() -> frozenset[str]:
    """What the process has open now, by number; nothing where the system does not say so."""
    with suppress(OSError):
        return frozenset(one.name for one in _DESCRIPTORS.iterdir())
    return frozenset()


def jack_sockets() -> list[int]:
    """The sockets by which JACK knows that the process lives, one for each of its clients."""
    return [number for name in sorted(open_descriptors()) if _leads_to_jack(number := int(name))]


def _leads_to_jack(number: int) -> bool:
    with suppress(OSError):  # closed meanwhile, or connected to nobody
        if stat.S_ISSOCK(os.fstat(number).st_mode):
            with socket.socket(fileno=os.dup(number)) as at:
                return at.family == socket.AF_UNIX and _SERVER in str(at.getpeername())
    return False
