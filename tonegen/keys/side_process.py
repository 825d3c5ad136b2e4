"""A process beside the program, which outlives it.

Its only link is a pipe, which the system closes with the program, killed or not. It runs from the same copy
of the program, wherever that was started.
"""

import os
import signal
import subprocess
import sys
import threading
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

import tonegen
from tonegen.ending import SIGNALS, put_off

# What is worked out there leaves the other cores to what sounds; and small matrices are slower on several.
_ONE_CORE: Final = {"OMP_NUM_THREADS": "1"}
_START: Final = "import sys; sys.path.insert(0, sys.argv[1]); from {module} import {life}; {life}()"


def command(module: str, life: str) -> list[str]:
    """The command of a process whose whole life is a function of a module."""
    root = str(Path(tonegen.__file__).parents[1])
    # -P: what lies in the folder that the player is in must not stand in for a module of Python's
    return [sys.executable, "-P", "-c", _START.format(module=module, life=life), root]


def start(module: str, life: str) -> "subprocess.Popen[bytes]":
    """Start it, with a pipe in and a pipe out."""
    with put_off():  # nor does a signal end it before it can say that it wants none
        return subprocess.Popen(
            command(module, life),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**_ONE_CORE, **os.environ},
            **_away_from_the_terminal(),
        )


def _away_from_the_terminal() -> dict[str, Any]:
    """What keeps a Ctrl-C in the terminal, and its end, for the program alone."""
    if sys.platform == "win32":
        return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.CREATE_NO_WINDOW}
    return {"start_new_session": True}


def first_line(process: "subprocess.Popen[bytes]", seconds: float) -> bytes:
    """The first line of its answer; one that takes longer is killed, and what it said till then is given."""
    assert process.stdout is not None
    hung = threading.Timer(seconds, process.kill)  # Windows waits for no pipe with a limit of time
    hung.start()
    try:
        return process.stdout.readline()
    finally:
        hung.cancel()


def let_go(process: "subprocess.Popen[bytes]", seconds: float) -> None:
    """Close its pipe, which is its end, and wait so long; a very slow receiver is put back without us."""
    assert process.stdin is not None
    assert process.stdout is not None
    with suppress(OSError):  # it ended before: nobody is left to tell
        process.stdin.close()
    with suppress(subprocess.TimeoutExpired):
        process.wait(seconds)
    process.stdout.close()


def live_by_the_pipe_alone() -> None:
    """Called first in the process: no signal that ends programs ends this one."""
    for ending in SIGNALS:
        signal.signal(ending, signal.SIG_IGN)
