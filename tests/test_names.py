"""One name, one thing: classes have names of their own, made of words that DEVELOPERS.md lists."""

import ast
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules

import click
import msgspec
import pytest

import tonegen.presets
from tonegen.cli import tonegen as command_line

ROOT = Path(__file__).parents[1]
MODULES = {path: ast.parse(path.read_text(encoding="utf-8")) for path in (ROOT / "tonegen").rglob("*.py")}


def words(names: Iterable[str]) -> set[str]:
    """What names are made of: `GripOffer` of grip and offer, `beats_per_second` of three."""
    return {word.lower() for name in names for word in re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+", name)}


def listed() -> set[str]:
    """The words of the list: those with a meaning of ours in bold, the others as they stand."""
    section = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("\n## Words\n")[1].split("\n## ")[0]
    ours, plain = section.split("As in plain English or the trade:")
    return {*re.findall(r"\*\*([a-z]+)\*\*", ours), *re.findall(r"[a-z]+", plain)}


def classes() -> dict[str, list[str]]:
    where = defaultdict(list)
    for path, tree in MODULES.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                where[node.name].append(str(path.relative_to(ROOT)))
    return where


def preset_keys() -> set[str]:
    """What can stand left of an equals sign in a preset."""
    found = set()
    for module in iter_modules(tonegen.presets.__path__, "tonegen.presets."):
        for kind in vars(import_module(module.name)).values():
            if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
                found |= {field.encode_name for field in msgspec.structs.fields(kind)}
    return found


def options(command: click.Command) -> Iterator[str]:
    for parameter in command.params:
        yield from (each for each in parameter.opts if each.startswith("--"))
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            yield name
            yield from options(command.get_command(context, name))


def json_fields() -> set[str]:
    """The keys of what commands print with --json: of every mapping that is written out in them."""
    return {
        key.value
        for path, tree in MODULES.items()
        if "cli" in path.parts
        for node in ast.walk(tree)
        if isinstance(node, ast.Dict)
        for key in node.keys
        if isinstance(key, ast.Constant) and isinstance(key.value, str) and re.fullmatch("[a-z_]+", key.value)
    }


NAMES = {
    "class": classes,
    "key of a preset": preset_keys,
    "command or option": lambda: set(options(command_line)),
    "field of JSON": json_fields,
}


def test_no_two_classes_have_one_name():
    assert {name: where for name, where in classes().items() if len(where) > 1} == {}


@pytest.mark.parametrize("kind", NAMES)
def test_names_are_made_of_listed_words(kind):
    """One that is not: say in DEVELOPERS.md what it means, or use one that is there."""
    assert (
        sorted(word for word in words(NAMES[kind]()) if not {word, word.removesuffix("s")} & listed()) == []
    )


def test_the_list_has_no_word_that_no_name_has():
    used = set().union(*(words(names()) for names in NAMES.values()))
    assert sorted(word for word in listed() if not {word, f"{word}s"} & used) == []
