"""Where a fault is in a file of rows: the line, the row and the key, as people look for them."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tonegen.errors import BadField, BadPreset, BadValue


@contextmanager
def in_row(path: Path, field: str) -> Iterator[None]:
    """Turn what is refused inside into a BadPreset that names the file, and the place of the field in it."""
    try:
        yield
    except (BadValue, BadPreset) as error:
        raise BadField(f"{path}: {placed(path, field)}: {error}", field, str(error)) from None


class Faults(list[str]):
    """What is wrong with a file, row by row; after what is refused inside `noted` reading goes on.

    fields : the same as field and why, for who sees the field; the field is "" where it is not one.
    """

    def __init__(self) -> None:
        """Nothing yet."""
        super().__init__()
        self.fields: list[tuple[str, str]] = []

    @contextmanager
    def noted(self) -> Iterator[None]:
        """Note a BadPreset that is raised inside."""
        try:
            yield
        except BadPreset as error:
            if str(error) not in self:
                self.append(str(error))
                one = (error.field, error.why) if isinstance(error, BadField) else ("", str(error))
                self.fields.append(one)


def placed(path: Path, field: str, key: str = "") -> str:
    """The place of a field, "songs[3].key", in words: "line 41, row 4 of songs, key".

    key : one in it whose line is meant.
    The line is left out where the file is laid out in another way than with [[songs]] and a key on each line.

    >>> placed(Path("nowhere.toml"), "songs[3].sends[0].bytes")
    'row 4 of songs, row 1 of sends, bytes'
    """
    rows = re.sub(r"(\w+)\[(\d+)\]", lambda row: f"row {int(row[2]) + 1} of {row[1]}", field)
    line = _line_of(path, f"{field}.{key}".strip("."))
    return ", ".join(filter(None, (f"line {line}" if line else "", rows.replace(".", ", "))))


def _line_of(path: Path, field: str) -> int | None:
    """The line of a field, or of its row where that lacks the key."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError):
        return None
    found, start, tables = None, 0, ""
    for part in field.split("."):
        name, _, row = part.removesuffix("]").partition("[")
        if row:
            tables = f"{tables}.{name}".lstrip(".")
            header = re.compile(rf"\s*\[\[\s*{re.escape(tables)}\s*\]\]")
            rows = [at for at in range(start, len(lines)) if header.match(lines[at])]
            if int(row) < len(rows):
                found = start = rows[int(row)] + 1
                continue
        key = re.compile(rf'\s*"?{re.escape(name)}"?\s*[.=]')
        for at in range(start, len(lines)):
            if lines[at].lstrip().startswith("["):
                break
            if key.match(lines[at]):
                return at + 1
        ends = re.compile(rf"\s*\[\[\s*{re.escape(tables)}\s*\]\]")
        table = re.compile(rf"\s*\[\s*{re.escape(f'{tables}.{name}')}\s*\]")
        to = next((at for at in range(start, len(lines)) if ends.match(lines[at])), len(lines))
        inside = next((at for at in range(start, to) if table.match(lines[at])), None)
        if inside is None:
            break
        found, start, tables = inside + 1, inside + 1, f"{tables}.{name}"
    return found
