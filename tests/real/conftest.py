"""Servers that tests of real ports and real sound share."""

from collections.abc import Iterator

import pytest

from tests.jack import SoundServer, running_server
from tests.keys.rig import Ear, Programs


@pytest.fixture(scope="session")
def sound_server(tmp_path_factory) -> Iterator[SoundServer]:
    """One server for all tests that leave it running."""
    with running_server(tmp_path_factory.mktemp("server")) as server:
        yield server


@pytest.fixture
def mortal_sound_server(tmp_path) -> Iterator[SoundServer]:
    """A server for one test, which may end it."""
    with running_server(tmp_path) as server:
        yield server


@pytest.fixture
def midi_system(sound_server) -> Iterator[SoundServer]:
    """The shared server as the MIDI system of the test's own process and of what it starts."""
    with sound_server.as_the_own():
        yield sound_server


@pytest.fixture
def ear(midi_system) -> Iterator[Ear]:
    """A receiver's port that the test listens at."""
    ear = Ear("Stage Piano")
    yield ear
    ear.close()


@pytest.fixture
def start(midi_system) -> Iterator:
    """Start the program; what still runs at the end is ended."""
    programs = Programs()
    yield programs.start
    programs.close()
