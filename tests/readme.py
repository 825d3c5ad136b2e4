"""The README's examples: each `$ tonegen ...` line of a console block, with the output printed below it.

`python -m tests.readme` runs them all and writes what they really print back into the README.
"""

import contextlib
import io
import os
import re
import shlex
import shutil
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

README = Path(__file__).parents[1] / "README.md"
CARD = Path(__file__).parent / "pictures" / "card.png"
_BLOCK = re.compile(r"```console\n(.*?)```\n", re.DOTALL)


@dataclass(frozen=True)
class Example:
    command: str
    output: str


def examples(text: str) -> list[list[Example]]:
    """The examples of each console block; those of one block run after one another in one folder."""
    return [_split(block) for block in _BLOCK.findall(text)]


def run(block: list[Example], folder: Path) -> list[Example]:
    """The same commands with what they print now."""
    return [Example(example.command, _printed(example.command, folder)) for example in block]


def written(block: list[Example]) -> str:
    """A console block."""
    return "".join(f"$ {example.command}\n{example.output}" for example in block)


def draw_card(folder: Path) -> Path:
    """The picture of the card, made by the README's own two commands."""
    _printed("tonegen temper e9-dance-band --save my-e9", folder)
    line = "tonegen chart --instrument e9-ten-string --temperament my-e9 --out card.png"
    assert line in README.read_text()
    _printed(line, folder)
    return folder / "card.png"


def shell_lines(text: str) -> list[str]:
    """Every line of the README's sh blocks that calls the program, without its comment."""
    blocks = re.findall(r"```sh\n(.*?)```", text, re.DOTALL)
    lines = (line.partition(" #")[0].strip() for block in blocks for line in block.splitlines())
    return [line for line in lines if line.startswith("tonegen ")]


def _split(block: str) -> list[Example]:
    parts = re.split(r"^\$ (.*)\n", block, flags=re.MULTILINE)
    assert parts[0] == "", f"a console block begins with a command: {block[:60]!r}"
    return [Example(command, output) for command, output in zip(parts[1::2], parts[2::2], strict=True)]


def _printed(command: str, folder: Path) -> str:
    from tonegen.cli import main

    printed, before, argv = io.StringIO(), Path.cwd(), sys.argv
    os.chdir(folder)
    sys.argv = shlex.split(command)
    try:
        with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(printed):
            main()
    except SystemExit:
        pass
    finally:
        os.chdir(before)
        sys.argv = argv
    text = printed.getvalue().replace(os.environ["XDG_CONFIG_HOME"], "~/.config")
    return "".join(line.rstrip() + "\n" for line in text.rstrip().splitlines())


def refresh() -> None:
    """Write what the examples print now into the README."""
    os.environ["COLUMNS"] = "80"
    with tempfile.TemporaryDirectory() as own:
        os.environ["XDG_CONFIG_HOME"] = own

        def again(found: re.Match[str]) -> str:
            with tempfile.TemporaryDirectory() as folder:
                return f"```console\n{written(run(_split(found[1]), Path(folder)))}```\n"

        README.write_text(_BLOCK.sub(again, README.read_text()))
        with tempfile.TemporaryDirectory() as folder:
            shutil.copy(draw_card(Path(folder)), CARD)


if __name__ == "__main__":
    refresh()
