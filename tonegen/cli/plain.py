"""Where standard output cannot take every character: the same in ASCII, as wide, so tables stay straight."""

import codecs
import io
import sys
import unicodedata
from typing import Final

# One character for one.
_PLAIN: Final = str.maketrans(
    {
        "–": "-", "—": "-", "−": "-", "─": "-", "│": "|", "┤": "|", "└": "+", "♯": "#", "♭": "b", "×": "x",
        "→": ">", "←": "<", "↑": "^", "↓": "v", "•": "*", "·": ".", "●": "o", "◆": "*", "…": ".",
        "‘": "'", "’": "'", "“": '"', "”": '"', "▒": ":", "█": "#", "▇": "#", "▆": "=", "▅": "=",
        "▄": "-", "▃": "-", "▂": "_", "▁": "_", "▀": "-",
    }
)  # fmt: skip


def in_ascii(text: str) -> str:
    """The text in ASCII: lines and bars by signs, letters without their marks, anything else as ?.

    >>> in_ascii("E♯–é → ♞")
    'E#-e > ?'
    """
    if text.isascii():
        return text
    text = unicodedata.normalize("NFC", text.translate(_PLAIN))
    return "".join(one if one.isascii() else _letter(one) for one in text)


def _letter(one: str) -> str:
    bare = unicodedata.normalize("NFD", one)[0]
    return bare if bare.isascii() else "?"


def print_what_stdout_takes() -> None:
    """From now on print in ASCII where standard output does not take every character.

    A file name that is no text is printed with ? in any case.
    """
    if not isinstance(sys.stdout, io.TextIOWrapper):  # none, or one that a test put there
        return
    if codecs.lookup(sys.stdout.encoding).name.startswith("utf"):
        sys.stdout.reconfigure(errors="replace")
    else:
        lines = sys.stdout.line_buffering
        sys.stdout = _Ascii(sys.stdout.detach(), encoding="utf-8", line_buffering=lines)


def is_printed_whole(text: str) -> bool:
    """Whether standard output prints a text as it is."""
    if isinstance(sys.stdout, _Ascii):
        return text.isascii()
    try:
        text.encode()
    except UnicodeEncodeError:  # half of a pair, as in a file name that is no text
        return False
    return True


class _Ascii(io.TextIOWrapper):
    """Called UTF-8, of which ASCII is a part: click goes round a stream that calls itself ASCII."""

    def write(self, text: str) -> int:
        """Write it in ASCII."""
        return super().write(in_ascii(text))
