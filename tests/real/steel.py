"""A client of a sound server that is a steel with its cable plugged in: it plays what it is told to."""

import threading

import jack
import numpy as np


class Steel:
    """An input for programs that start later. Silent but for noise 90 dB down, until it is picked."""

    def __init__(self, server, noise=3e-5):
        self._client = jack.Client("steel", servername=server.name, no_start_server=True)
        self._port = self._client.outports.register("pickup")
        self._draw = np.random.default_rng(0)
        self._noise = noise
        self._sound, self._at = np.zeros(0), 0
        self._over = threading.Event()
        self._client.set_process_callback(self._play)

    def __enter__(self):
        self._client.activate()
        return self

    def __exit__(self, *_):
        self._client.deactivate()
        self._client.close()

    @property
    def name(self):
        return self._client.name

    def pick(self, sound):
        """Play it once, from now on; `rang_out` waits for its end."""
        self._over.clear()
        self._at, self._sound = 0, np.asarray(sound)

    def rang_out(self):
        assert self._over.wait(60), "the server stands still"

    def _play(self, frames):
        block = self._noise * self._draw.standard_normal(frames)
        now = self._sound[self._at : self._at + frames]
        block[: len(now)] += now
        self._at += len(now)
        if self._at >= len(self._sound):
            self._over.set()
        self._port.get_array()[:] = block
