"""Preset files: where they are, and how they are read, each fault as one line with file and field.

A preset is TOML that people read and copy. It is found by name, first in the user's own folder, then among
those that come with the program; a name that ends in .toml, or has a path in it, is a file.
"""

import os
import re
import stat
import tomllib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Final, TypeVar

import click
import msgspec
from msgspec import Meta, Struct

from tonegen.errors import BadField, BadPreset, BadValue

KINDS: Final = ("instruments", "temperaments", "drops", "timbres", "scenes", "lessons", "receivers", "sets")
# Kinds that a tuning of the library is as well, under its own name.
_OF_TUNINGS: Final = ("instruments", "temperaments")
_LARGEST_PRESET_BYTES: Final = 1_000_000
# An installed copy carries its presets inside the package; a checkout has them beside it.
_INSIDE: Final = Path(__file__).parent.parent / "_presets"
SHIPPED: Final = _INSIDE if _INSIDE.is_dir() else Path(__file__).parent.parent.parent / "presets"
LIBRARY: Final = SHIPPED / "tunings"
_NAME_IN_LIBRARY: Final = re.compile(r'^name = "(.+)"$', re.MULTILINE)

_IN_WORDS: Final = {
    "array": "a list", "float": "a number", "int": "a whole number", "str": "text", "object": "a table",
    "bool": "true or false",
}  # fmt: skip
_KIND_OF_VALUE: Final = re.compile(f"`({'|'.join(_IN_WORDS)})`")
_MISSING: Final = re.compile(r"Object missing required field `(.+)`")
_UNKNOWN: Final = re.compile(r"Object contains unknown field `(.+)`")

Cents = Annotated[float, Meta(ge=-1200, le=1200)]
Model = TypeVar("Model")


class Title(Struct):
    """What every preset file can be asked for, whatever else is in it."""

    title: str


class Fields(Struct, forbid_unknown_fields=True, kw_only=True):
    """What every preset file has."""

    title: str
    source: str = ""


def own_folder() -> Path:
    """Where the user's own presets and history live."""
    return Path(click.get_app_dir("tonegen"))


def names(kind: str) -> tuple[str, ...]:
    """Names of all presets of a kind, the user's own among them, in order; also of those that cannot be read.

    What begins with a dot is none: editors put their locks and copies there.
    """
    return tuple(files(kind))


def files(kind: str) -> dict[str, Path]:
    """Where each preset of a kind lies, by name and in their order."""
    found = {file.stem: file for folder in (SHIPPED, own_folder()) for file in _files_in(folder / kind)}
    return dict(sorted(found.items()))


def _files_in(folder: Path) -> Iterator[Path]:
    with suppress(OSError):  # there is no such folder, or it may not be looked into
        for file in folder.iterdir():
            name = file.name
            if name.endswith(".toml") and not name.startswith(".") and name.isprintable():
                yield file


def locate(kind: str, name: str) -> Path:
    """The file of a preset. Raises BadPreset when there is none, with the nearest names.

    What the user has under that name is taken, whatever it is: where it cannot be read, the error says why.
    An instrument or a temperament may be a tuning of the library: then it is the file of its family.
    """
    if is_file_name(name):
        path = Path(name)
        if _is(path.is_dir):
            raise BadPreset(f"{name}: is a folder; give a file in it, or a name: tonegen list {kind}")
        if not _is(path.is_file):
            raise BadPreset(f"{name}: no such file")
        return path
    for folder in (own_folder(), SHIPPED):
        path = folder / kind / f"{name}.toml"
        if name and not name.startswith(".") and os.path.lexists(path):
            return path
    library = names_in_library() if kind in _OF_TUNINGS else {}
    if name in library:
        return library[name]
    known = (*names(kind), *library)
    near = get_close_matches(name, known, n=3, cutoff=0.4)
    hint = f"near it: {', '.join(near)}" if near else f"see: tonegen list {kind}"
    raise BadPreset(f'there is no {kind[:-1]} called "{name[:60]}"; {hint}')


def library_files(folder: Path) -> tuple[Path, ...]:
    """The families of tunings in a folder, in order."""
    return tuple(sorted(_files_in(folder)))


def names_in_library() -> dict[str, Path]:
    """Which file has each tuning of the library, by name; the files are looked through, not parsed."""
    return {
        name: path
        for path in library_files(LIBRARY)
        for name in _NAME_IN_LIBRARY.findall(path.read_text("utf-8"))
    }


def is_in_library(path: Path) -> bool:
    """Whether what `locate` found is a tuning of the library."""
    return path.parent == LIBRARY


def listed(kind: str, name: str) -> Path:
    """The file of a preset by its listed name, for whoever may be at another machine and must name no file.

    Raises BadPreset for any other name.
    """
    if not name or is_file_name(name) or "\0" in name:
        raise BadPreset(f'there is no {kind[:-1]} called "{name[:60]}"; see: tonegen list {kind}')
    return locate(kind, name)


def beside(path: Path, name: str) -> str:
    """The name of a preset as the file at `path` gives it: a relative file is looked for beside that file."""
    return str(path.parent / name) if is_file_name(name) else name


def name_of(kind: str, path: Path) -> str:
    """What a preset is found by from anywhere: its name where it is listed, else its whole path."""
    listed = files(kind).get(path.stem)
    return path.stem if listed is not None and listed.resolve() == path.resolve() else str(path.resolve())


def is_file_name(name: str) -> bool:
    """Whether a preset is asked for by its file: a name that ends in .toml, or has a path in it."""
    return name.endswith(".toml") or "/" in name or "\\" in name


def _is(asked: Callable[[], bool]) -> bool:
    try:
        return asked()
    except OSError:  # a name longer than a file's can be, a folder that may not be looked into
        return False


def title(kind: str, name: str) -> str:
    """The title of a preset; why it cannot be read, for one that is damaged."""
    try:
        return read(locate(kind, name), Title).title
    except BadPreset as error:
        return str(error)


def read(
    path: Path, model: type[Model], place: Callable[[Path, str, str], str] = lambda path, field, key: field
) -> Model:
    """The fields of a preset file, checked. Raises BadPreset for anything that does not fit.

    place : how a field of the file is said to people, by its name such as "songs[3]", and the key in it that
        nobody knows, if that is what is wrong.
    """
    return parsed(content_of(path), path, model, place)


def readable(path: Path) -> str:
    """The text of a preset file. Raises BadPreset for one that is no TOML."""
    content = content_of(path)
    parsed(content, path, dict)
    return content.decode("utf-8-sig")


def content_of(path: Path) -> bytes:
    """What is in a preset file. Raises BadPreset for what cannot be read, or is none."""
    try:
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):
            what = "a folder" if stat.S_ISDIR(about.st_mode) else "no file"
            raise BadPreset(f"{path}: is {what}; a preset is a file: move this elsewhere")
        if about.st_size > _LARGEST_PRESET_BYTES:
            raise BadPreset(f"{path}: larger than a megabyte; that is not a preset")
        return path.read_bytes()
    except OSError as error:
        if path.is_symlink() and isinstance(error, FileNotFoundError):
            raise BadPreset(f"{path}: is a broken link; fix or remove it") from None
        raise BadPreset(f"{path}: cannot be read: {error.strerror}") from None


def parsed(
    content: bytes,
    path: Path,
    model: type[Model],
    place: Callable[[Path, str, str], str] = lambda path, field, key: field,
) -> Model:
    """The fields of what is in a preset file, or is to be, checked; all else as `read` has it."""
    try:
        return convert(tomllib.loads(content.decode("utf-8-sig")), path, model, place)
    except UnicodeDecodeError as error:
        raise BadPreset(f"{path}: byte {error.start} is not UTF-8; save the file as UTF-8 text") from None
    except tomllib.TOMLDecodeError as error:
        text = str(error).replace(
            "Cannot overwrite a value", "a key is listed twice: the second would overwrite the first"
        )
        raise BadPreset(f"{path}: {_lower_first(text)}") from None
    except (RecursionError, ValueError, OverflowError):
        raise BadPreset(f"{path}: a value is nested too deep or too large") from None


def convert(
    values: Mapping[str, Any],
    path: Path,
    model: type[Model],
    place: Callable[[Path, str, str], str] = lambda path, field, key: field,
) -> Model:
    """The same of its values."""
    try:
        return msgspec.convert(values, model)
    except msgspec.ValidationError as error:
        text, _, where = str(error).partition(" - at ")
        field = where.strip("`").removeprefix("$").lstrip(".")
        unknown = _UNKNOWN.search(text)
        text = _MISSING.sub(r'the field "\1" is missing', text)
        text = _UNKNOWN.sub(
            r'there is no field "\1" here; compare a preset that comes with the program', text
        )
        text = text.replace(" | null`", "`")  # what may be left out; TOML cannot say nothing otherwise
        text = text.replace("`int`, got `float`", "`int`, got one with a decimal point")
        text = _KIND_OF_VALUE.sub(lambda found: _IN_WORDS[found[1]], text)
        where = place(path, field, unknown[1] if unknown else "")
        why = _lower_first(text)
        raise BadField(f"{path}: {where + ': ' if where else ''}{why}", field, why) from None


@contextmanager
def named(path: Path, field: str) -> Iterator[None]:
    """Turn what is refused inside into a BadPreset that names its file and field; the innermost counts."""
    try:
        yield
    except BadField:
        raise
    except (BadValue, BadPreset) as error:
        raise BadField(f"{path}: {field}: {error}", field, str(error)) from None


def by_string(values: Mapping[str, Model], count: int) -> dict[int, Model]:
    """The same values by string number. Raises BadValue unless each is a string from 1 to `count`, once."""
    numbers: dict[int, Model] = {}
    for text, value in values.items():
        if not (text.isascii() and text.isdigit() and len(text) < 3 and 1 <= int(text) <= count):
            raise BadValue(f'"{text}" is not a string; strings are numbered 1 to {count}')
        if int(text) in numbers:
            raise BadValue(f"string {int(text)} is listed twice")
        numbers[int(text)] = value
    return numbers


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:].replace("`", '"')
