"""A terminal that is read key by key."""

import os
import select
import shutil
import sys
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from types import TracebackType
from typing import Final

from tonegen.errors import BadValue

LEAST_COLUMNS: Final = 60
LEAST_LINES: Final = 12
STOP: Final = "q"
_WATCH_SECONDS: Final = 0.25
_KEY_WAIT_SECONDS: Final = 0.002  # where a system can only be asked again and again; taps are timed by it
_ESCAPE: Final = "\x1b"
# What terminals send for keys without a letter; two dialects of the arrows, and Windows'.
_NAMED_KEYS: Final = {
    "\x1b[A": "up", "\x1b[B": "down", "\x1b[C": "right", "\x1b[D": "left",
    "\x1bOA": "up", "\x1bOB": "down", "\x1bOC": "right", "\x1bOD": "left",
    "\xe0H": "up", "\xe0P": "down", "\xe0M": "right", "\xe0K": "left",
    "\r": "enter", "\n": "enter", " ": "space", "\x7f": "backspace", "\x08": "backspace",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Key:
    """A key, by name or as the letter that it is, and when it was pressed."""

    name: str
    seconds: float


class KeyReader:
    """Keys as they are pressed, without echo; a context manager that puts the terminal back.

    Raises BadValue where there is no terminal, or one that is too small.
    """

    def __init__(self) -> None:
        """See that there is a terminal to ask."""
        if not (sys.stdin.isatty() and sys.stdout.isatty()):
            raise BadValue("this reads single keys and needs a terminal; run it in one, without a pipe")
        columns, lines = shutil.get_terminal_size()
        if columns < LEAST_COLUMNS or lines < LEAST_LINES:
            raise BadValue(
                f"the terminal is {columns} by {lines}; make it {LEAST_COLUMNS} by {LEAST_LINES} or larger"
            )
        self.columns = columns
        self._waiting: deque[Key] = deque()
        self._restore: Callable[[], None] = lambda: None

    def __enter__(self) -> "KeyReader":
        """Take each key at once, and Ctrl-C as ever."""
        if sys.platform != "win32":
            import termios
            import tty

            # Once for all keys: a change of mode between two throws away what was pressed meanwhile.
            before = termios.tcgetattr(sys.stdin)
            tty.setcbreak(sys.stdin)

            def restore() -> None:
                with suppress(termios.error):  # the terminal was closed
                    termios.tcsetattr(sys.stdin, termios.TCSADRAIN, before)

            self._restore = restore
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Leave the terminal as it was."""
        self._restore()

    def next(self, watch: Callable[[], None]) -> Key:
        """Wait for a key; `q` where the terminal went away. `watch` is called now and then, and may raise."""
        sys.stdout.flush()
        while not self._waiting:
            while not self._pressed():
                watch()
            text = self._read()
            now = time.perf_counter()
            if not text:
                return Key(STOP, now)
            self._waiting.extend(Key(name, now) for name in split_keys(text))
        return self._waiting.popleft()

    def _pressed(self) -> bool:
        """Wait a moment for a key; whether there is one."""
        if sys.platform == "win32":
            import msvcrt

            time.sleep(_KEY_WAIT_SECONDS)
            return bool(msvcrt.kbhit())
        return bool(select.select([sys.stdin], [], [], _WATCH_SECONDS)[0])

    def _read(self) -> str:
        if sys.platform == "win32":
            import msvcrt

            first = msvcrt.getwch()
            return first + msvcrt.getwch() if first in "\x00\xe0" else first
        try:
            return os.read(sys.stdin.fileno(), 64).decode("utf-8", "replace")
        except OSError:  # the terminal was closed
            return ""


def split_keys(text: str) -> list[str]:
    """The keys in what a terminal sent at once, letters in lower case; keys without a meaning here are "".

    >>> split_keys("1\\x1b[D q")
    ['1', 'left', 'space', 'q']
    """
    keys = []
    while text:
        known = next((code for code in _NAMED_KEYS if text.startswith(code)), None)
        if known:
            keys.append(_NAMED_KEYS[known])
            text = text[len(known) :]
        elif text[0] == _ESCAPE:
            keys.append("")  # some other key: its whole sequence is one
            text = text[1:].lstrip("[O0123456789;")[1:]
        else:
            keys.append(text[0].lower())
            text = text[1:]
    return keys
