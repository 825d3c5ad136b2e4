"""A sound server without hardware: jackd with its dummy driver, under a name of its own."""

import os
import signal
import subprocess
import uuid
from collections.abc import Iterator
from dataclasses import dataclass

import pytest


@dataclass(frozen=True)
class SoundServer:
    """A running server: its name and rate, its process, and the environment in which programs find it."""

    name: str
    sample_rate: int
    process: subprocess.Popen
    environment: dict[str, str]


@pytest.fixture(scope="session")
def sound_server() -> Iterator[SoundServer]:
    """One server for all tests that leave it running: 256 frames at 48000 hz, in real time."""
    server = started(f"tonegen-{uuid.uuid4().hex[:8]}")
    yield server
    ended(server)


@pytest.fixture
def mortal_sound_server() -> Iterator[SoundServer]:
    """A server for one test, which may end it."""
    server = started(f"tonegen-{uuid.uuid4().hex[:8]}")
    yield server
    ended(server)
    if server.process.returncode == -signal.SIGKILL:
        # It kept its place, of the eight on a machine; one of the same name takes it and gives it back.
        ended(started(server.name))


def started(name: str) -> SoundServer:
    """A server of that name, once it answers; it waits for slow clients, so that no block is lost."""
    environment = {
        **os.environ,
        "JACK_DEFAULT_SERVER": name,
        "JACK_NO_AUDIO_RESERVATION": "1",
        "JACK_NO_START_SERVER": "1",
    }
    process = subprocess.Popen(
        ["jackd", "--no-realtime", "--sync", "-n", name, "-d", "dummy", "-r", "48000", "-p", "256"],
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    server = SoundServer(name, 48000, process, environment)
    waiting = ["jack_wait", "--server", name, "--wait", "--timeout", "20"]
    if subprocess.run(waiting, env=environment, capture_output=True, timeout=30).returncode != 0:
        ended(server)
        pytest.fail("jackd does not start; start it by hand to see why: " + " ".join(process.args))
    return server


def ended(server: SoundServer) -> None:
    """End it in order, if it has not ended."""
    server.process.terminate()
    server.process.wait(10)
