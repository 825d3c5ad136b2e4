"""A sound server without hardware: jackd with its dummy driver, under a name of its own."""

import os
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


@pytest.fixture
def sound_server() -> Iterator[SoundServer]:
    """The dummy driver asks for 256 frames at 48000 hz, in real time."""
    name = f"tonegen-{uuid.uuid4().hex[:8]}"
    environment = {
        **os.environ,
        "JACK_DEFAULT_SERVER": name,
        "JACK_NO_AUDIO_RESERVATION": "1",
        "JACK_NO_START_SERVER": "1",
    }
    command = ["jackd", "--no-realtime", "-n", name, "-d", "dummy", "-r", "48000", "-p", "256"]
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        subprocess.run(
            ["jack_wait", "--server", name, "--wait", "--timeout", "20"],
            env=environment,
            check=True,
            capture_output=True,
            timeout=30,
        )
        yield SoundServer(name, 48000, process, environment)
    finally:
        process.terminate()
        process.wait(10)
