"""The picture of the beats in a terminal: drawn in place, and gone at the end."""

import io
import os
import re
import shutil
import sys

import pytest

from tonegen.cli.play import redrawn


class Terminal(io.StringIO):
    """What a terminal of so many columns and rows shows; it knows what ECMA-48 says of CUU, EL and ED."""

    def __init__(self, columns, rows):
        super().__init__()
        self.columns, self.rows = columns, rows

    def isatty(self):
        return True

    def shown(self):
        lines, row, column = [""], 0, 0
        for part in re.findall(r"\x1b\[\d*[AKJ]|\r|\n|[^\x1b\r\n]+", self.getvalue()):
            if part == "\n":
                row, column = row + 1, 0
                lines += [""] * (row + 1 - len(lines))
            elif part == "\r":
                column = 0
            elif part.endswith("A"):
                row -= int(part[2:-1])
                assert row > max(-1, len(lines) - 1 - self.rows), "above the top of the terminal"
            elif part == "\x1b[K":
                lines[row] = lines[row][:column]
            elif part == "\x1b[J":
                lines[row:] = [lines[row][:column]]
            else:
                lines[row] = lines[row][:column] + part + lines[row][column + len(part) :]
                column += len(part)
                assert column < self.columns, "wraps"
        return lines


@pytest.fixture
def terminal(monkeypatch):
    def of(columns, rows):
        terminal = Terminal(columns, rows)
        monkeypatch.setattr(sys, "stdout", terminal)
        monkeypatch.setattr(shutil, "get_terminal_size", lambda: os.terminal_size((columns, rows)))
        print("A4 = 440 Hz")
        return terminal

    return of


def test_each_picture_takes_the_place_of_the_last_and_the_end_leaves_none(terminal):
    screen = terminal(80, 24)
    with redrawn() as draw:
        draw(["E4–A4 ████████", "A4–C#5 ██", "Ctrl-C ends"])
        draw(["E4–A4 ██", "A4–C#5 ███", "Ctrl-C ends"])
        assert screen.shown() == ["A4 = 440 Hz", "E4–A4 ██", "A4–C#5 ███", "Ctrl-C ends"]
    assert screen.shown() == ["A4 = 440 Hz", ""]


def test_a_small_terminal_shows_what_it_has_room_for(terminal):
    screen = terminal(12, 4)
    with redrawn() as draw:
        for _ in range(3):
            draw([f"{interval} ███████████" for interval in "abcdef"])
        assert screen.shown() == ["A4 = 440 Hz", *(f"{interval} █████████" for interval in "abc")]
    assert screen.shown() == ["A4 = 440 Hz", ""]
