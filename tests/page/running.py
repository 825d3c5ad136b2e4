"""`tonegen page` in a process of its own, as a user starts it, and a page of it without a browser."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from contextlib import ExitStack
from pathlib import Path

from websockets.sync.client import connect

PATIENCE_SECONDS = 60  # on a machine that does much else as well

_START = "from tonegen.cli import main; main()"
_IN_A_NETWORK = "from tonegen.page import server; server.lan_address = lambda: {!r}; "


class RunningPage:
    """The program, started when entered and ended when left.

    lan_address : of this machine's own, stands for that in its network, with `--lan`
    """

    def __init__(self, own_folder, *options, environment=None, lan_address=None):
        self.port = free_port()
        self.host = f"{lan_address or '127.0.0.1'}:{self.port}"
        self.url = f"http://{self.host}/"
        start = _IN_A_NETWORK.format(lan_address) + _START if lan_address else _START
        self._command = [sys.executable, "-c", start, "page", "--no-browser", "--port", str(self.port)]
        self._command += [*options, *(["--lan"] if lan_address else [])]
        self._environment = {**os.environ, **(environment or {}), "XDG_CONFIG_HOME": str(own_folder)}

    def __enter__(self):
        self.started = time.perf_counter()
        self.process = subprocess.Popen(
            self._command,
            env=self._environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        line = self.process.stdout.readline()
        self.ready_seconds = time.perf_counter() - self.started
        if not line:
            raise AssertionError(self.process.stderr.read())
        self.link = re.search(r"http://\S+", line)[0]
        return self

    def __exit__(self, *_):
        self.end()

    def end(self, how=signal.SIGTERM):
        """End the program, and wait until it has ended."""
        if self.process.poll() is None:
            self.process.send_signal(how)
            self.process.wait(PATIENCE_SECONDS)
        self.process.stdout.close()
        self.process.stderr.close()

    def page(self, **headers):
        """A page without a browser."""
        address, origin = f"ws://{self.host}/engine", f"http://{self.host}"
        return WirePage(connect(address, origin=origin, compression=None, max_queue=None, **headers))

    def cpu_seconds(self):
        """What the program has used of a core so far."""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def open_files(self):
        return len(list(Path(f"/proc/{self.process.pid}/fd").iterdir()))

    def threads(self):
        return len(list(Path(f"/proc/{self.process.pid}/task").iterdir()))

    def resident_mb(self):
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        return int(re.search(r"VmRSS:\s+(\d+)", status)[1]) / 1024


class WirePage:
    """Asks over the WebSocket, and waits for what is shown."""

    def __init__(self, connecting):
        self._open = ExitStack()
        self.connection = self._open.enter_context(connecting)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        self._open.close()

    def ask(self, do, **fields):
        self.connection.send(json.dumps({"do": do, **fields}))

    def shown(self, kind, such_that=lambda message: True, seconds=PATIENCE_SECONDS):
        """The next message of a kind that is as wanted."""
        until = time.monotonic() + seconds
        while True:
            message = json.loads(self.connection.recv(timeout=max(until - time.monotonic(), 0.01)))
            if message["type"] == kind and such_that(message):
                return message


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]
