"""A second client of a sound server that keeps what plays to the server's own outputs."""

import queue
from contextlib import contextmanager

import jack
import numpy as np

_PATIENCE_SECONDS = 20


class Recorder:
    """Listens from when it is entered, left and right."""

    def __init__(self, server):
        self._client = jack.Client("recorder", servername=server.name, no_start_server=True)
        self._blocks = queue.Queue()
        inputs = [self._client.inports.register(name) for name in ("left", "right")]
        self._client.set_process_callback(
            lambda _: self._blocks.put(np.stack([port.get_array().copy() for port in inputs]))
        )

    def __enter__(self):
        self._client.activate()
        for number, mine in enumerate(self._client.inports, start=1):
            while not (theirs := self._client.get_all_connections(f"system:playback_{number}")):
                self._next()  # whoever plays is about to connect
            self._client.connect(theirs[0], mine)
        while not self._blocks.empty():  # from before both were connected
            self._blocks.get()
        self._seconds(4 * self._client.blocksize / self._client.samplerate)
        return self

    def __exit__(self, *_):
        self._client.deactivate()
        self._client.close()

    @contextmanager
    def as_a_device(self):
        """Be a device for programs that start later: nothing that they play is missed."""
        self._client.activate()
        try:
            yield self._client.name
        finally:
            self.__exit__()

    def from_now(self, seconds):
        """What is heard next, for so long: channels x frames."""
        self.so_far()
        return self._seconds(seconds)

    def so_far(self):
        """All that was heard and not yet given out."""
        return np.concatenate([self._next() for _ in range(self._blocks.qsize() + 1)], axis=1)

    def record(self, seconds):
        """The next seconds: channels x frames. Entered for that alone."""
        with self:
            return self._seconds(seconds)

    def until_heard(self, seconds):
        """Wait for a sound; it and what follows, for so long."""
        while not (block := self._next()).any():
            pass
        return np.concatenate([block, self._seconds(seconds)], axis=1)

    def until_silent(self):
        """All up to the first block in which nothing sounds."""
        blocks = [self._next()]
        most = _PATIENCE_SECONDS * self._client.samplerate / self._client.blocksize
        while blocks[-1].any():
            assert len(blocks) < most, f"it still sounds after {_PATIENCE_SECONDS} s"
            blocks.append(self._next())
        return np.concatenate(blocks, axis=1)

    def _seconds(self, seconds):
        count = round(seconds * self._client.samplerate / self._client.blocksize)
        return np.concatenate([self._next() for _ in range(count)], axis=1)

    def _next(self):
        return self._blocks.get(timeout=_PATIENCE_SECONDS)
