"""The text of a preset with other values, order and rows: each comment and line beside them as it was.

A row is text, from its [[songs]] to the next row, or a line of `strings = [`, with the comment right above.
The comment above the first [[...]] tells of them all, and stays at their head, unless other rows have one as
well. What comes out is read again: it says what was wanted and nothing else, or it is refused.
"""

import json
import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any, Final

_HEADER: Final = re.compile(r"\s*\[\[?\s*([\w.-]+)\s*\]\]?\s*(#.*)?$")
_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")
_SIGNED: Final = "moves"  # what raises has its plus
_QUOTED: Final = re.compile(r'"(?:\\.|[^"\\])*"|\'[^\']*\'')
_ONE_A_LINE: Final = 60  # characters of a list of rows that still stands on one line

Rows = Mapping[str, Sequence[int | None]]


def rewritten(text: str, wanted: Mapping[str, Any], rows: Rows) -> str:
    """The same text saying what is wanted.

    rows : of each list of rows, by its name, which one of the text each wanted row was; None for a new one.
    Raises ValueError for a text that is laid out in a way that cannot be followed.

    >>> print(rewritten('# mine\\ntitle = "Old"  # says all\\n', {"title": "New", "frets": 24}, {}), end="")
    # mine
    title = "New"  # says all
    frets = 24
    """
    end = "\r\n" if "\r\n" in text else "\n"
    before = tomllib.loads(text)
    try:
        found = _rewritten(text.replace("\r\n", "\n"), before, wanted, rows).replace("\n", end)
        right = tomllib.loads(found) == wanted
    except (IndexError, KeyError, StopIteration):  # rows that were not found as text
        right = False
    if not right:
        raise ValueError("is laid out in another way")
    return found


def _rewritten(text: str, before: dict[str, Any], wanted: Mapping[str, Any], rows: Rows) -> str:
    head, pieces = _pieces(text, tuple(rows))
    headers = {kind for kind, _ in pieces}
    inline = {name for name in rows if name in before and name not in headers}
    for name in inline:
        if wanted.get(name) == before[name] and list(rows[name]) == list(range(len(before[name]))):
            continue
        head = _with_a_row_a_line(head, name, before[name])
        head = _with_inline_rows(head, name, before[name], wanted.get(name, []), rows[name])
    tables = {name for name in {*before, *wanted} if _is_table(name, headers, before, wanted)}
    others = {*rows, *tables}
    head = _with_fields(head, _differing(before, wanted, others))
    for name in sorted(tables):
        pieces = _with_table(pieces, (name,), before.get(name, {}), wanted.get(name))
    for name, was in rows.items():
        if name in inline:
            continue
        there = [piece for kind, piece in pieces if kind == name]
        new = []
        for row, one in zip(wanted.get(name, []), was, strict=True):
            own = there[one] if one is not None else f"[[{name}]]\n\n"
            new.append(_with_fields(own, _differing(before[name][one] if one is not None else {}, row)))
        pieces = _refilled(pieces, name, new)
    found = head
    for kind, piece in pieces:
        if kind in rows and found and not found.endswith("\n\n") and not _ends_with_comment(found):
            found += "\n" if found.endswith("\n") else "\n\n"
        found += piece
    return found.rstrip("\n") + "\n"


def _is_table(name: str, headers: set[str], before: Mapping[str, Any], wanted: Mapping[str, Any]) -> bool:
    """Whether a mapping stands, or will stand, below a header of its own."""
    if not isinstance(wanted.get(name, before.get(name)), Mapping):
        return False
    return name not in before or any(kind == name or kind.startswith(f"{name}.") for kind in headers)


def _differing(
    before: Mapping[str, Any], wanted: Mapping[str, Any], but: set[str] | frozenset[str] = frozenset()
) -> dict[str, Any]:
    """What has another value; None for what goes."""
    gone = {name: None for name in before if name not in wanted and name not in but}
    changed = {
        name: value
        for name, value in wanted.items()
        if name not in but and (name not in before or before[name] != value)
    }
    return gone | changed


def _with_table(
    pieces: list[tuple[str, str]],
    way: tuple[str, ...],
    before: Mapping[str, Any],
    wanted: Mapping[str, Any] | None,
) -> list[tuple[str, str]]:
    """The [table] of that way through the file, and those within it, with other values."""
    name = ".".join(way)
    if wanted is None:
        return [piece for piece in pieces if piece[0] != name and not piece[0].startswith(f"{name}.")]
    headers = {kind for kind, _ in pieces}
    deeper = {
        one for one in {*before, *wanted}
        if isinstance(wanted.get(one, before.get(one)), Mapping)
        and (f"{name}.{one}" in headers or (one not in before and name not in headers))
    }  # fmt: skip
    changed = _differing(before, wanted, deeper)
    if name in headers:
        pieces = [(kind, _with_fields(text, changed) if kind == name else text) for kind, text in pieces]
    elif changed or not (deeper or wanted):
        pieces = _put_in(pieces, way, _with_fields(f"[{_header(way)}]\n", changed))
    for one in [one for one in [*before, *wanted] if one in deeper]:
        deeper.discard(one)
        pieces = _with_table(pieces, (*way, one), before.get(one, {}), wanted.get(one))
    return pieces


def _header(way: tuple[str, ...]) -> str:
    return ".".join(_key(part) for part in way)


def _put_in(pieces: list[tuple[str, str]], way: tuple[str, ...], text: str) -> list[tuple[str, str]]:
    """A new table beside those of its family, else before any row."""
    family = [at for at, (kind, _) in enumerate(pieces) if kind.split(".")[0] == way[0]]
    at = family[-1] + 1 if family else 0
    if at:
        kind, above = pieces[at - 1]
        pieces = [*pieces[: at - 1], (kind, above.rstrip("\n") + "\n\n"), *pieces[at:]]
    return [*pieces[:at], (".".join(way), text.rstrip("\n") + "\n\n"), *pieces[at:]]


def _ends_with_comment(text: str) -> bool:
    return text.splitlines()[-1].lstrip().startswith("#")


def _pieces(text: str, names: Sequence[str]) -> tuple[str, list[tuple[str, str]]]:
    """What is before any header, then pieces in their order: rows and tables by their name, and "" for a
    comment that stays there.
    """
    lines = text.splitlines(keepends=True)
    starts = [(at, found[1]) for at, line in enumerate(lines) if (found := _HEADER.match(line))]
    cuts: list[tuple[int, int, str, bool]] = []  # where its comment begins, its header, whose it is, a row?
    for at, header in starts:
        row = lines[at].lstrip().startswith("[[") and header in names
        if not row and header.partition(".")[0] in names:
            continue  # belongs to the row before it
        above = at
        while above and lines[above - 1].lstrip().startswith("#"):
            above -= 1
        cuts.append((above, at, header, row))
    told = {name: sum(above < at for above, at, kind, _ in cuts if kind == name) for name in names}
    seen: set[str] = set()
    pieces: list[tuple[str, str]] = []
    if not cuts:
        return text, pieces
    for (above, at, kind, row), after in zip(cuts, [*cuts[1:], (len(lines), 0, "", False)], strict=True):
        first = kind not in seen
        seen.add(kind)
        begin = above
        if row and first and told[kind] == 1 and above < at:
            pieces.append(("", "".join(lines[above:at])))
            begin = at
        pieces.append((kind, "".join(lines[begin : after[0]])))
    return "".join(lines[: cuts[0][0]]), pieces


def _refilled(pieces: list[tuple[str, str]], name: str, new: list[str]) -> list[tuple[str, str]]:
    """Other rows in the places of those that were there; more after the last one, or at the end."""
    last = max((at for at, (kind, _) in enumerate(pieces) if kind == name), default=None)
    found, left = [], [(name, text) for text in new]
    for at, (kind, text) in enumerate(pieces):
        if kind != name:
            found.append((kind, text))
        elif at == last:
            found += left
            left = []
        elif left:
            found.append(left.pop(0))
    return found + left


def _with_fields(text: str, fields: Mapping[str, Any]) -> str:
    """The same row with other fields; what stands below its own, as songs.sends do, is left alone."""
    import tomlkit

    if not fields:
        return text
    lines = text.splitlines(keepends=True)
    header = next((at + 1 for at, line in enumerate(lines) if _HEADER.match(line)), 0)
    below = next((at for at in range(header, len(lines)) if _HEADER.match(lines[at])), len(lines))
    while below > header and (not lines[below - 1].strip() or lines[below - 1].lstrip().startswith("#")):
        below -= 1
    document = tomlkit.parse("".join(lines[header:below]))
    for name, value in fields.items():
        if value is None:
            document.pop(name, None)
        else:
            document[name] = tomlkit.parse(f"x = {_said(value, signs=name == _SIGNED)}")["x"]
    body = tomlkit.dumps(document)
    return (
        "".join(lines[:header])
        + body
        + ("" if body.endswith("\n") or not body else "\n")
        + "".join(lines[below:])
    )


def _with_a_row_a_line(text: str, name: str, rows: Sequence[Mapping[str, Any]]) -> str:
    """The same with a line for each row of `name = [...]`, unless it has comments, which would be lost."""
    lines = text.splitlines(keepends=True)
    first = next(at for at, line in enumerate(lines) if re.match(rf"{name}\s*=\s*\[", line))
    begun = "".join(lines[first:])
    for end in (found.end() for found in re.finditer(r"\]", begun)):
        try:
            tomllib.loads(begun[:end])
        except tomllib.TOMLDecodeError:
            continue
        break
    else:
        return text
    list_of_rows = begun[:end]
    begins, *below = list_of_rows.splitlines()
    lines_of_rows = sum(line.lstrip().startswith("{") for line in below)
    if "#" in _QUOTED.sub("", list_of_rows) or ("{" not in begins and lines_of_rows == len(rows)):
        return text
    spread = f"{name} = [\n" + "".join(f"    {_said(row)},\n" for row in rows) + "]"
    return "".join(lines[:first]) + spread + begun[end:]


def _with_inline_rows(
    text: str,
    name: str,
    before: Sequence[Mapping[str, Any]],
    wanted: Sequence[Mapping[str, Any]],
    was: Sequence[int | None],
) -> str:
    """The same with other rows in `name = [`, which has one on each line."""
    lines = text.splitlines(keepends=True)
    first = next(at for at, line in enumerate(lines) if re.match(rf"{name}\s*=\s*\[\s*(#.*)?$", line)) + 1
    last = next(at for at in range(first, len(lines)) if re.match(r"\s*\]\s*(#.*)?$", lines[at]))
    there: list[str] = []
    above = ""
    for line in lines[first:last]:
        above += line
        if line.lstrip().startswith("{"):
            there.append(above)
            above = ""
    new = []
    for row, one in zip(wanted, was, strict=True):
        said = there[one] if one is not None else "    {},\n"
        new.append(said if one is not None and before[one] == row else _inline_row(said, row))
    return "".join(lines[:first]) + "".join(map(_with_comma, new)) + above + "".join(lines[last:])


def _parts_of_row(text: str) -> tuple[str, str, str]:
    """What is above a row's line with its indent, the row, and what is after it."""
    above, line = text[: text.rstrip("\n").rfind("\n") + 1], text[text.rstrip("\n").rfind("\n") + 1 :]
    start = line.index("{")
    for end in (at + 1 for at, letter in enumerate(line) if letter == "}"):
        try:
            tomllib.loads(f"x = {line[start:end]}")
        except tomllib.TOMLDecodeError:
            continue
        return above + line[:start], line[start:end], line[end:]
    raise ValueError("no row on one line")


def _inline_row(text: str, row: Mapping[str, Any]) -> str:
    above, _, after = _parts_of_row(text)
    return above + _said(row) + after


def _with_comma(text: str) -> str:
    above, row, after = _parts_of_row(text)
    return text if after.startswith(",") else f"{above}{row},{after}"


def _said(value: Any, signs: bool = False) -> str:
    """A value as it is written."""
    match value:
        case bool():
            return "true" if value else "false"
        case int():
            return f"+{value}" if signs and value > 0 else str(value)
        case float():
            return repr(value)
        case str():
            return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
        case Mapping():
            parts = [f"{_key(name)} = {_said(one, signs)}" for name, one in value.items()]
            return f"{{ {', '.join(parts)} }}" if parts else "{}"
        case _:
            parts = [_said(one, signs) for one in value]
            line = f"[{', '.join(parts)}]"
            if len(line) > _ONE_A_LINE and value and isinstance(value[0], Mapping):
                return "[\n" + "".join(f"    {part},\n" for part in parts) + "]"
            return line


def _key(name: str) -> str:
    return name if _BARE_KEY.fullmatch(name) else json.dumps(name, ensure_ascii=False)
