"""A sound server without hardware: jackd with its dummy driver, under a name of its own."""

import os
import signal
import subprocess
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

_TRIES = 3  # a server that another one's leavings keep from starting gets another name


@dataclass(frozen=True)
class SoundServer:
    """A running server: its name and rate, its process, and the environment in which programs find it."""

    name: str
    sample_rate: int
    process: subprocess.Popen
    environment: dict[str, str]


@pytest.fixture(scope="session")
def sound_server(tmp_path_factory) -> Iterator[SoundServer]:
    """One server for all tests that leave it running."""
    with _server(tmp_path_factory.mktemp("server")) as server:
        yield server


@pytest.fixture
def mortal_sound_server(tmp_path) -> Iterator[SoundServer]:
    """A server for one test, which may end it."""
    with _server(tmp_path) as server:
        yield server


@contextmanager
def _server(folder: Path) -> Iterator[SoundServer]:
    """The dummy driver asks for 256 frames at 48000 hz, in real time, and waits for slow clients."""
    for _ in range(_TRIES):
        name = f"tonegen-{uuid.uuid4().hex[:8]}"
        environment = {
            **os.environ,
            "JACK_DEFAULT_SERVER": name,
            "JACK_NO_AUDIO_RESERVATION": "1",
            "JACK_NO_START_SERVER": "1",
        }
        said = folder / f"{name}.log"
        process = _start(name, environment, said)
        try:
            if _answers(name, environment):
                yield SoundServer(name, 48000, process, environment)
                return
        finally:
            process.terminate()
            if process.wait(10) == -signal.SIGKILL:
                _give_back_its_place(name, environment, said)
    raise RuntimeError(f"jackd did not start: {said.read_text()}")


def _start(name: str, environment: dict[str, str], said: Path) -> subprocess.Popen:
    with said.open("w") as log:
        return subprocess.Popen(
            ["jackd", "--no-realtime", "--sync", "-n", name, "-d", "dummy", "-r", "48000", "-p", "256"],
            env=environment, stdout=log, stderr=log,
        )  # fmt: skip


def _give_back_its_place(name: str, environment: dict[str, str], said: Path) -> None:
    """A killed server keeps its place, of the eight on a machine, until one of its name ends in order."""
    process = _start(name, environment, said)
    _answers(name, environment)
    process.terminate()
    process.wait(10)


def _answers(name: str, environment: dict[str, str]) -> bool:
    wait = ["jack_wait", "--server", name, "--wait", "--timeout", "10"]
    return subprocess.run(wait, env=environment, capture_output=True, timeout=30).returncode == 0
