"""A process beside the program, which outlives it.

Its only link is a pipe, which the system closes with the program, killed or not. It runs from the same copy
of the program, wherever that was started.
"""

import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import Final

import tonegen

_START: Final = "import sys; sys.path.insert(0, sys.argv[1]); from {module} import {life}; {life}()"


def command(module: str, life: str) -> list[str]:
    """The command of a process whose whole life is a function of a module."""
    root = str(Path(tonegen.__file__).parents[1])
    # -P: what lies in the folder that the player is in must not stand in for a module of Python's
    return [sys.executable, "-P", "-c", _START.format(module=module, life=life), root]


def start(module: str, life: str) -> "subprocess.Popen[bytes]":
    """Start it, with a pipe in and a pipe out."""
    return subprocess.Popen(
        command(module, life),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        start_new_session=True,  # a Ctrl-C in the terminal is for the program alone
    )


def let_go(process: "subprocess.Popen[bytes]", seconds: float) -> None:
    """Close its pipe, which is its end, and wait so long; a very slow receiver is put back without us."""
    assert process.stdin is not None
    assert process.stdout is not None
    with suppress(BrokenPipeError):  # it ended before: nobody is left to tell
        process.stdin.close()
    with suppress(subprocess.TimeoutExpired):
        process.wait(seconds)
    process.stdout.close()


def live_by_the_pipe_alone() -> None:
    """Called first in the process: no signal that ends programs ends this one."""
    for ending in (signal.SIGINT, signal.SIGTERM, *([signal.SIGHUP] if hasattr(signal, "SIGHUP") else [])):
        signal.signal(ending, signal.SIG_IGN)
