"""A sound server without hardware: jackd with its dummy driver, under a name of its own."""

import os
import signal
import subprocess
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

_TRIES = 3  # a server that another one's leavings keep from starting gets another name
_KILLED_CLIENT_MS = 200  # how long, times ten, a server in step waits for a client that was killed


@dataclass(frozen=True)
class SoundServer:
    """A running server: its name and rate, its process, and the environment in which programs find it."""

    name: str
    sample_rate: int
    process: subprocess.Popen
    environment: dict[str, str]

    @contextmanager
    def as_the_own(self) -> Iterator[None]:
        """Let this process find it as well, and all that it starts."""
        ours = {key: value for key, value in self.environment.items() if key.startswith("JACK_")}
        before = {key: os.environ.get(key) for key in ours}
        os.environ.update(ours)
        try:
            yield
        finally:
            for key, value in before.items():
                os.environ.pop(key, None)
                if value is not None:
                    os.environ[key] = value


@contextmanager
def running_server(folder: Path, period_frames: int = 256, in_step: bool = True) -> Iterator[SoundServer]:
    """The dummy driver asks for `period_frames` at 48000 hz, in real time.

    in_step : wait for every client in each period, so that one that is late on a busy machine loses and
        doubles nothing. A client that is killed then holds the others up for two seconds.
    """
    for _ in range(_TRIES):
        name = f"tonegen-{uuid.uuid4().hex[:8]}"
        environment = {
            **os.environ,
            "JACK_DEFAULT_SERVER": name,
            "JACK_NO_AUDIO_RESERVATION": "1",
            "JACK_NO_START_SERVER": "1",
        }
        command = ["jackd", "--no-realtime", "-n", name, "-t", str(_KILLED_CLIENT_MS)]
        command += [*(["--sync"] if in_step else []), "-d", "dummy", "-r", "48000", "-p", str(period_frames)]
        said = folder / f"{name}.log"
        process = _start(command, environment, said)
        try:
            if _answers(name, environment):
                yield SoundServer(name, 48000, process, environment)
                return
        finally:
            process.terminate()
            if process.wait(10) == -signal.SIGKILL:
                _give_back_its_place(name, command, environment, said)
    raise RuntimeError(f"jackd did not start: {said.read_text()}")


def _start(command: list[str], environment: dict[str, str], said: Path) -> subprocess.Popen:
    with said.open("w") as log:
        return subprocess.Popen(command, env=environment, stdout=log, stderr=log)


def _give_back_its_place(name: str, command: list[str], environment: dict[str, str], said: Path) -> None:
    """A killed server keeps its place, of the eight on a machine, until one of its name ends in order."""
    process = _start(command, environment, said)
    _answers(name, environment)
    process.terminate()
    process.wait(10)


def _answers(name: str, environment: dict[str, str]) -> bool:
    wait = ["jack_wait", "--server", name, "--wait", "--timeout", "10"]
    return subprocess.run(wait, env=environment, capture_output=True, timeout=30).returncode == 0
