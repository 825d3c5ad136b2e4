"""Everything public says what it is for; most of the core shows it by an example that is run."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import tonegen

PACKAGE = Path(tonegen.__file__).parent
NAMED = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef
EMPTY_WORDS = {"a", "an", "the", "of", "its", "it", "is", "this", "for", "to"}
# The arithmetic: what is used by itself, without a device, a file or a preset.
CORE = [
    "body.py", "copedent.py", "drop.py", "dropfit", "frozen.py", "instrument.py", "interval.py", "order",
    "pitch.py", "reads.py", "sounding.py", "synthesis", "temperament.py", "tempering", "wants.py",
    "wire.py", "words.py",
]  # fmt: skip


def public(module: Path) -> Iterator[tuple[str, ast.AST]]:
    """A module and every public class, function and method in it, by name."""
    tree = ast.parse(module.read_text())
    name = module.parent.name if module.name == "__init__.py" else module.stem
    yield name, tree
    yield from _public_in(tree, "")


def _public_in(node: ast.AST, prefix: str) -> Iterator[tuple[str, ast.AST]]:
    for each in ast.iter_child_nodes(node):
        if isinstance(each, NAMED) and not each.name.startswith("_"):
            yield prefix + each.name, each
            if isinstance(each, ast.ClassDef):
                yield from _public_in(each, f"{prefix}{each.name}.")


def words(text: str) -> set[str]:
    """The words of a name or a sentence that say something."""
    apart = re.sub(r"([a-z])([A-Z])", r"\1 \2", text)
    return {word.lower() for word in re.findall(r"[A-Za-z0-9]+", apart.replace("_", " "))} - EMPTY_WORDS


@pytest.mark.parametrize(
    "module", sorted(PACKAGE.rglob("*.py")), ids=lambda path: str(path.relative_to(PACKAGE))
)
def test_everything_public_says_more_than_its_name(module):
    silent = [
        name
        for name, node in public(module)
        if not words(ast.get_docstring(node) or "") - words(name.rpartition(".")[2])
    ]

    assert silent == []


def test_most_of_the_core_shows_an_example():
    modules = [
        path
        for each in CORE
        for path in ([PACKAGE / each] if each.endswith(".py") else (PACKAGE / each).glob("*.py"))
    ]
    functions = [
        (name, ">>>" in (ast.get_docstring(node) or ""))
        for module in modules
        for name, node in public(module)
        if isinstance(node, ast.FunctionDef)
    ]

    assert len(functions) > 150
    assert sum(shown for _, shown in functions) / len(functions) >= 0.6


def test_each_row_of_the_map_and_each_word_stands_once():
    """What two people write at once must not end up there twice."""
    rows = re.findall(r"^\| (\S+) \|", (PACKAGE.parent / "DEVELOPERS.md").read_text(), re.MULTILINE)

    assert sorted(set(rows)) == sorted(rows)
