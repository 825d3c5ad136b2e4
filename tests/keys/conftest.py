"""A receiver that tests of the guard and of the bench tune."""

import select
import socket

import pytest

from tests.keys.rig import Programs


class Synthesizer:
    """Listens for OSC; `where` names its place as a door is named."""

    def __init__(self):
        self._listening = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._listening.bind(("127.0.0.1", 0))
        self._listening.settimeout(20)
        self.where = f"osc 127.0.0.1:{self._listening.getsockname()[1]}"

    def take(self, count):
        return [self._listening.recv(65536) for _ in range(count)]

    def nothing_waits(self):
        return not select.select([self._listening], [], [], 0)[0]

    def close(self):
        self._listening.close()


@pytest.fixture
def synthesizer():
    synthesizer = Synthesizer()
    yield synthesizer
    synthesizer.close()


@pytest.fixture
def synthesizers():
    both = Synthesizer(), Synthesizer()
    yield both
    for one in both:
        one.close()


@pytest.fixture
def programs():
    programs = Programs()
    yield programs
    programs.close()
