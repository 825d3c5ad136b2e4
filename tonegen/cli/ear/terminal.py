"""A terminal that is asked key by key, and a device that plays at the same time."""

import os
import select
import shutil
import sys
import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Final, cast

import click

from tonegen.cli.asked import TEXT
from tonegen.ear.comfort import REST_HINT, Rest
from tonegen.ear.history import FILE_NAME, History, login_name
from tonegen.ear.rendering import Booth, Clip, Source
from tonegen.errors import BadValue, NoSuchDevice
from tonegen.presets import own_folder
from tonegen.sound.device import choose, output_devices, play
from tonegen.synthesis.player import HEARING_CAUTION, QUIET_LEVEL_DBFS, Player, checked_level_dbfs

LEAST_COLUMNS: Final = 60
LEAST_LINES: Final = 12
STOP: Final = "q"
_SILENT_SAMPLE_RATE: Final = 48_000
_WATCH_SECONDS: Final = 0.25
_LATENCY_SECONDS: Final = 0.5  # of a device that is slow
_KEY_WAIT_SECONDS: Final = 0.002  # where a system can only be asked again and again; taps are timed by it
_ESCAPE: Final = "\x1b"
# What terminals send for keys without a letter; two dialects of the arrows, and Windows'.
_NAMED_KEYS: Final = {
    "\x1b[A": "up", "\x1b[B": "down", "\x1b[C": "right", "\x1b[D": "left",
    "\x1bOA": "up", "\x1bOB": "down", "\x1bOC": "right", "\x1bOD": "left",
    "\xe0H": "up", "\xe0P": "down", "\xe0M": "right", "\xe0K": "left",
    "\r": "enter", "\n": "enter", " ": "space", "\x7f": "backspace", "\x08": "backspace",
}  # fmt: skip

person_option = click.option("--person", type=TEXT, help="Who is answering; your login name if left out.")
device_option = click.option("--device", type=TEXT, help="Sound device, by number or part of its name.")
level_option = click.option(
    "--level", type=float, help=f"Loudness, dB of full scale; at most -6, {QUIET_LEVEL_DBFS:g} when left out."
)
no_sound_option = click.option(
    "--no-sound", is_flag=True, help="Draw each beat instead of sounding it, where there is no device."
)


def person_or_login(person: str | None) -> str:
    """The name given, or that of the login."""
    return login_name() if person is None else person


def open_history() -> History:
    """The history in the user's own folder; says so when a damaged one was set aside."""
    history = History(own_folder() / FILE_NAME)
    if history.notice:
        click.echo(f"tonegen: {history.notice}", err=True)
    return history


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


class Speaker:
    """The booth on a device, open as long as the context lasts; or nothing at all, for `--no-sound`.

    level_dbfs : what nothing that it plays exceeds; None for a quiet one
    Raises BadValue for a level out of range, NoSuchDevice, one line, when there is no device; `play` and
    `watch` raise it when it is lost.
    """

    def __init__(self, device: str | None, no_sound: bool, level_dbfs: float | None = None) -> None:
        """Choose the device."""
        self.silent = no_sound
        self.level_was_given = level_dbfs is not None
        self.level_dbfs = checked_level_dbfs(QUIET_LEVEL_DBFS if level_dbfs is None else level_dbfs)
        self._chosen = None
        if not no_sound:
            try:
                self._chosen = choose(device, output_devices())
            except NoSuchDevice as missing:
                raise NoSuchDevice(f"{missing}; or see the beats drawn: --no-sound") from None
        self.sample_rate = self._chosen.sample_rate if self._chosen else _SILENT_SAMPLE_RATE
        self._booth = Booth(self.sample_rate, self.level_dbfs)
        self._rest = Rest()
        self._ended = threading.Event()
        self._failure: BaseException | None = None
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> "Speaker":
        """Open the device, with the usual caution."""
        if self._chosen:
            click.echo(HEARING_CAUTION, err=True)
            self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Fade out and close."""
        self._ended.set()
        if self._chosen:
            self._thread.join()

    def play(self, source: Source | None) -> None:
        """Play from the next block on; None is silence."""
        self.watch()
        self._booth.play(source)

    def level(self, level_dbfs: float) -> None:
        """Change the level of everything. Raises BadValue above the ceiling."""
        self._booth.level(level_dbfs)
        self.level_dbfs = level_dbfs

    def say_if_rest_is_due(self) -> None:
        """After every 20 minutes of sound, hint at a rest."""
        if self._rest.due(self._booth.sounded_frames / self.sample_rate):
            click.secho(REST_HINT, bold=True)

    def hear_out(self, clip: Clip) -> None:
        """Play it to its end, however late the device begins."""
        self.play(clip)
        while not clip.ended:
            self.watch()
            time.sleep(_WATCH_SECONDS)
        time.sleep(_LATENCY_SECONDS)
        self.watch()

    def watch(self) -> None:
        """Raise what went wrong with the device."""
        if self._failure:
            raise self._failure

    def _run(self) -> None:
        try:
            # The booth has the part of a player that a device uses.
            play(cast(Player, self._booth), cast(Any, self._chosen), stop=self._ended)
        except Exception as failure:
            self._failure = failure
