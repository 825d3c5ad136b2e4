"""A foot board without a set, attended to in another process: what its controllers have come to."""

from threading import Event, Lock

from tonegen.errors import NoSuchDevice
from tonegen.keys import midi
from tonegen.keys.ports import MidiInput


class FootBench:
    """All that is done at the port of a foot board."""

    def __init__(self) -> None:
        """Nothing is opened."""
        self._input: MidiInput | None = None
        self._newest: dict[bytes, bytes] = {}
        self._came = Event()
        self._lock = Lock()

    def listen(self, port: str) -> None:
        """Listen at a MIDI input, by name or part of it. Raises NoSuchDevice."""
        self.put_back()
        self._input = MidiInput(port, self.take)

    def take(self, message: bytes) -> None:
        """A whole message has come; of those of one controller only the newest matters."""
        if message[0] & midi.KIND_BITS != midi.CONTROL:
            return
        with self._lock:
            self._newest[message[:2]] = message
        self._came.set()

    def came(self, seconds: float) -> tuple[bytes, ...]:
        """The newest message of each controller that came since it was asked last, as they first came.

        Waits for the first of them, so many seconds at most. Raises NoSuchDevice where the port is gone.
        """
        if not self._came.wait(seconds) and self._input is not None and not self._input.is_there():
            name = self._input.name
            self.put_back()
            raise NoSuchDevice(f"{name} is gone")
        with self._lock:
            newest, self._newest = self._newest, {}
            self._came.clear()
        return tuple(newest.values())

    def put_back(self) -> None:
        """Let go of the port."""
        board, self._input = self._input, None
        if board is not None:
            board.close()
