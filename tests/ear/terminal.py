"""A real terminal of a stated size with the program in it, and someone who reads and presses keys."""

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Mapping

PATIENCE_SECONDS = 20


class Terminal:
    """The program in a pseudo-terminal; a context manager that leaves nothing running."""

    def __init__(
        self,
        *arguments: str,
        columns: int = 100,
        lines: int = 30,
        environment: Mapping[str, str] = os.environ,
    ) -> None:
        ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))
        sized = {key: value for key, value in environment.items() if key not in ("COLUMNS", "LINES")}
        self.process = subprocess.Popen(
            # A session of its own with this terminal, so that Ctrl-C reaches it; it becomes the program.
            ["setsid", "--ctty", sys.executable, "-c", "from tonegen.cli import main; main()", *arguments],
            stdin=theirs, stdout=theirs, stderr=theirs, env=sized,
        )  # fmt: skip
        os.close(theirs)
        self._ours = ours
        self._read = ""
        self.screen = ""

    def __enter__(self) -> "Terminal":
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        self._close()

    def _close(self) -> None:
        if self._ours >= 0:
            os.close(self._ours)
            self._ours = -1

    def press(self, keys: str) -> None:
        os.write(self._ours, keys.encode())

    def wait_for(self, pattern: str) -> str:
        """Read until the pattern has appeared; what was read up to its end is not looked at again."""
        until = time.monotonic() + PATIENCE_SECONDS
        while not (found := re.search(pattern, self._read)):
            assert self._more(until), f"no {pattern!r} in:\n{self.screen}"
        self._read = self._read[found.end() :]
        return found[0]

    def ended(self) -> int:
        """Read to the end, and give the exit code."""
        until = time.monotonic() + PATIENCE_SECONDS
        while self._more(until):
            assert time.monotonic() < until, self.screen
        return self.process.wait(PATIENCE_SECONDS)

    def closed(self) -> int:
        """Close the window, and give the exit code."""
        self._close()
        return self.process.wait(PATIENCE_SECONDS)

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def _more(self, until: float) -> bool:
        ready, _, _ = select.select([self._ours], [], [], max(until - time.monotonic(), 0))
        try:
            text = os.read(self._ours, 65536).decode() if ready else ""
        except OSError:  # Linux says so when the other end is closed
            text = ""
        plain = re.sub(r"\x1b\[[0-9;]*m", "", text).replace("\r\n", "\n")
        self._read += plain
        self.screen += plain
        return bool(text)
