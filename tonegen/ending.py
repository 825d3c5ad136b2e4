"""The program told to end: by Ctrl-C, by a signal, or because its terminal was closed. All end it alike.

`Ended` is raised in the main thread, once, so that everything under way is put back; it is a
KeyboardInterrupt, the usual way to end a tone. A terminal that was closed may say so by a signal or only when
something is written to it: what is written then is lost, and ends the program.
"""

import errno
import io
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any, Final, TextIO

# SIGHUP and SIGBREAK: the terminal was closed, as Unix and as Windows says it.
SIGNALS: Final = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name)
)
# Whoever is impatient tells it again: so long the end that is under way is not disturbed.
_SECONDS_TO_END: Final = 2.0
_SECONDS_TO_COME_OUT: Final = 0.05  # of what swallows exceptions


class Ended(KeyboardInterrupt):
    """The program was told to end."""


class _Told:
    """Which signal came first, when one came last, and what is done about it in place of raising."""

    number = 0
    at_seconds = 0.0
    do: Callable[[], object] | None = None
    hook_before: Callable[["sys.UnraisableHookArgs"], object] = sys.__unraisablehook__


_told = _Told()


def listen() -> None:
    """From now on every way to end the program raises `Ended`. Called first, in the main thread.

    A signal that whoever started the program has it ignore, as nohup does, stays ignored.
    """
    _told.number, _told.at_seconds, _told.do = 0, 0.0, None
    for number in SIGNALS:
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _end)
    _told.hook_before, sys.unraisablehook = sys.unraisablehook, _tell_again
    _hold_the_standard_places()
    sys.stdout, sys.stderr = _outliving(sys.stdout), _outliving(sys.stderr)


def stop_listening() -> int:
    """Everything is put back: whoever tells it again ends the program at once.

    Gives the exit code of an end that was asked for, 128 and the signal's number, or 0 when none was.
    """
    for number in SIGNALS:
        if signal.getsignal(number) is _end:
            signal.signal(number, signal.SIG_DFL)
    sys.unraisablehook = _told.hook_before
    return 128 + _told.number if _told.number else 0


def was_told() -> bool:
    """Whether the program was told to end: an exception that comes then may be made of `Ended`."""
    return _told.number != 0


@contextmanager
def put_off() -> Iterator[None]:
    """What is told while this lasts is told at its end: for what must be done whole or not at all.

    Threads and processes that are started meanwhile are told nothing.
    """
    held = signal.pthread_sigmask(signal.SIG_BLOCK, SIGNALS) if sys.platform != "win32" else None
    is_main = threading.current_thread() is threading.main_thread()  # the others' exceptions are their own
    before, told = _told.do, []
    if is_main:
        _told.do = lambda: told.append(True)
    try:
        yield
    finally:
        if is_main:
            _told.do = before
        if held is not None:
            signal.pthread_sigmask(signal.SIG_SETMASK, held)
    if told and before:
        before()
    elif told:
        raise Ended


@contextmanager
def ends_by(do: Callable[[], object]) -> Iterator[None]:
    """While this lasts the program is ended by a call, in place of raising `Ended`."""
    _told.do = do
    try:
        yield
    finally:
        _told.do = None


def _end(number: int, _: FrameType | None) -> None:
    now = time.monotonic()
    if _told.number and now - _told.at_seconds < _SECONDS_TO_END:
        return
    _told.number = _told.number or number
    _told.at_seconds = now
    if _told.do is None:
        raise Ended
    _told.do()


def _tell_again(unraisable: "sys.UnraisableHookArgs") -> None:
    """Python swallows what is raised while it drops an object, often so in imports: `Ended` comes again."""
    if isinstance(unraisable.exc_value, Ended):
        again = threading.Timer(_SECONDS_TO_COME_OUT, _tell_main_thread)
        again.daemon = True
        again.start()
    else:
        _told.hook_before(unraisable)


def _tell_main_thread() -> None:
    if signal.getsignal(_told.number) is not _end:  # it is ending by itself
        return
    _told.at_seconds = float("-inf")
    if sys.platform == "win32":
        signal.raise_signal(_told.number)
    else:  # which wakes it where it waits
        signal.pthread_kill(threading.main_thread().ident or 0, _told.number)


def _hold_the_standard_places() -> None:
    """Where a shell closed one, the next file or port would get its number, and all that is printed."""
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        try:
            os.fstat(number)
        except OSError:
            os.set_inheritable(os.open(os.devnull, os.O_RDWR), True)
        if getattr(sys, name) is None:
            mode = "w" if number else "r"
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))  # noqa: SIM115


def _outliving(stream: TextIO) -> TextIO:
    """The same stream; where it is a terminal, one that may be closed."""
    buffer = getattr(stream, "buffer", None)
    raw = getattr(buffer, "raw", buffer)  # Python has no buffer where PYTHONUNBUFFERED is set
    if type(raw) is not io.FileIO or not raw.isatty():  # Windows' own console is another type
        return stream
    terminal: Any = _Terminal(raw.fileno(), "w", closefd=False)
    return io.TextIOWrapper(
        terminal if raw is buffer else io.BufferedWriter(terminal), stream.encoding, stream.errors,
        line_buffering=True, write_through=raw is buffer,
    )  # fmt: skip


class _Terminal(io.FileIO):
    def write(self, content: Any) -> int:
        try:
            return super().write(content)
        except OSError as error:
            if error.errno != errno.EIO:
                raise
            signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGHUP)
            return memoryview(content).nbytes
