"""Receivers that were left tuned, because a program was killed together with its guard, put back later."""

from collections.abc import Callable
from contextlib import suppress

from tonegen.errors import NoSuchDevice
from tonegen.keys import journal
from tonegen.keys.guard import open_door, send_all
from tonegen.writing import taken


def put_back_left(say: Callable[[str], object]) -> bool:
    """Put back what was left tuned, and say so in a line for each; whether all that was left is back now.

    What a program that still runs has tuned is its own and stays.
    """
    all_back = True
    for path in journal.left():
        with suppress(OSError), taken(path):
            undo = journal.read(path)
            if undo is not None and not _put_back(undo, say):
                all_back = False
            else:
                path.unlink()
    return all_back


def _put_back(undo: journal.KeptUndo, say: Callable[[str], object]) -> bool:
    """Whether nothing is left to do about it."""
    kind, _, name = undo.where.partition(" ")
    if kind == "virtual":  # it ended with the program, and a new one would be connected to nothing
        say(
            f'What was connected to "{name}" may still be tuned, because tonegen was killed; '
            "put it back with tonegen keys reset --out PORT --receiver NAME."
        )
        return True
    try:
        door = open_door(undo.where)
    except NoSuchDevice:
        say(
            f'"{name}" was left tuned when tonegen was killed, and is not connected; '
            "when it is back: tonegen keys reset"
        )
        return False
    try:
        send_all(door, undo.messages, undo.sysex_seconds)
    finally:
        door.close()
    say(f'"{name}" was left tuned when tonegen was killed; it is put back now.')
    return True
