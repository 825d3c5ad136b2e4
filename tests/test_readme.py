"""The README says what the program does: its examples run here and print what it shows."""

import doctest
import re
import shlex

import click
import pytest

from tests.readme import CARD, README, draw_card, examples, run, shell_lines, written
from tonegen.cli import SUMMARIES
from tonegen.cli import tonegen as program
from tonegen.keys.osc_port import ADDRESSES

BLOCKS = examples(README.read_text())


@pytest.mark.parametrize("block", BLOCKS, ids=lambda block: block[0].command)
def test_an_example_prints_what_the_readme_shows(block, tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    assert to_nine_digits(written(run(block, tmp_path))) == to_nine_digits(written(block))


def to_nine_digits(text):
    """JSON has every digit; the last ones are those of a version of numpy."""
    return re.sub(r"\d+\.\d{8,}", lambda figure: f"{float(figure[0]):.9g}", text)


@pytest.mark.parametrize("line", shell_lines(README.read_text()))
def test_a_line_for_the_shell_is_understood(line):
    """Its command, options and values are parsed as they would be; nothing is run."""
    _, *words = shlex.split(line)
    command: click.Command = program
    context = click.Context(program, info_name="tonegen")
    while isinstance(command, click.Group):
        name, command, words = command.resolve_command(context, words)
        context = click.Context(command, parent=context, info_name=name)
    command.make_context(context.info_name, words, parent=context.parent)


def test_the_picture_of_the_card_is_what_the_program_draws(tmp_path):
    """The same size in pixels; the letters may be those of another machine."""
    drawn, shown = draw_card(tmp_path).read_bytes(), CARD.read_bytes()
    png_head = slice(0, 24)  # signature, then the first chunk with width and height
    assert drawn[png_head] == shown[png_head]
    assert len(drawn) == pytest.approx(len(shown), rel=0.3)


def test_every_picture_is_there():
    for picture in re.findall(r"!\[.*?\]\((.*?)\)", README.read_text()):
        assert (README.parent / picture).is_file(), picture


def test_every_command_is_shown():
    text = README.read_text()
    for command in SUMMARIES:
        assert re.search(rf"\btonegen {command}\b", text), f"the README does not show tonegen {command}"


def test_every_osc_address_is_shown_with_its_arguments():
    rows = re.findall(r"^\| `(/tonegen/[\w-]+)` \| (.+?) \|", README.read_text(), re.MULTILINE)
    assert dict(rows) == {address: takes for address, (takes, *_) in ADDRESSES.items()}


def test_the_python_example_gives_what_it_shows():
    failed, tried = doctest.testfile(str(README), module_relative=False)
    assert (failed, tried) == (0, 3)
