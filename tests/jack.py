"""A sound server without hardware: jackd with its dummy driver, under a name of its own."""

import fcntl
import os
import subprocess
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import jack

# A machine has places for eight servers. One that does not end in order keeps its place until another starts
# under its name, so the names are always the same ones.
_NAMES = [f"tonegen-tests-{number}" for number in range(1, 9)]
_START_SECONDS = 20
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

    def wait_for_periods(self, count: int = 3) -> None:
        """Until the server has gone so many times through all that was connected before."""
        period = threading.Semaphore(0)
        client = jack.Client("periods", servername=self.name, no_start_server=True)
        client.set_process_callback(lambda _: period.release())
        with client:
            for _ in range(count):
                assert period.acquire(timeout=_START_SECONDS), "the server stands still"


@contextmanager
def running_server(folder: Path, period_frames: int = 256, in_step: bool = True) -> Iterator[SoundServer]:
    """The dummy driver asks for `period_frames` at 48000 Hz, in real time.

    in_step : wait for every client in each period, so that one that is late on a busy machine loses and
        doubles nothing. Not for tests that kill a client: the server then stops for two seconds, and for good
        where another client comes in meanwhile.
    """
    said = folder / "jackd.log"
    for name in _NAMES:
        environment = {
            **os.environ,
            "JACK_DEFAULT_SERVER": name,
            "JACK_NO_AUDIO_RESERVATION": "1",
            "JACK_NO_START_SERVER": "1",
        }
        command = ["jackd", "--no-realtime", "-n", name, "-t", str(_KILLED_CLIENT_MS)]
        command += [*(["--sync"] if in_step else []), "-d", "dummy", "-r", "48000", "-p", str(period_frames)]
        with _reserved(name) as free:
            if not free:
                continue
            with said.open("a") as log:
                process = subprocess.Popen(command, env=environment, stdout=log, stderr=log)
            try:
                if _answers(process, name, environment):
                    yield SoundServer(name, 48000, process, environment)
                    return
            finally:
                _end(process)
    raise RuntimeError(f"jackd did not start: {said.read_text()}")


@contextmanager
def _reserved(name: str) -> Iterator[bool]:
    """Whether no other test run on this machine has the name; held until the end."""
    with (Path(tempfile.gettempdir()) / f"{name}.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
        else:
            yield True


def _answers(process: subprocess.Popen, name: str, environment: dict[str, str]) -> bool:
    wait = ["jack_wait", "--server", name, "--wait", "--timeout", "1"]
    for _ in range(_START_SECONDS):
        if process.poll() is not None:
            return False
        if subprocess.run(wait, env=environment, capture_output=True, timeout=30).returncode == 0:
            return process.poll() is None
    return False


def _end(process: subprocess.Popen) -> None:
    process.terminate()
    try:
        process.wait(10)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
