"""The README says what the program does: its examples run here and print what it shows."""

import doctest
import re

import pytest

from tests.readme import README, examples, run, written
from tonegen.cli import SUMMARIES

BLOCKS = examples(README.read_text())


@pytest.mark.parametrize("block", BLOCKS, ids=lambda block: block[0].command)
def test_an_example_prints_what_the_readme_shows(block, tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    assert written(run(block, tmp_path)) == written(block)


def test_every_command_is_shown():
    text = README.read_text()
    for command in SUMMARIES:
        assert re.search(rf"\btonegen {command}\b", text), f"the README does not show tonegen {command}"


def test_the_python_example_gives_what_it_shows():
    failed, tried = doctest.testfile(str(README), module_relative=False)
    assert (failed, tried) == (0, 3)
