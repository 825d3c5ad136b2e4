"""The types that the page's scripts are checked against are those of its messages."""

from pathlib import Path

import tonegen.page
from tests.page.types import WRITTEN, types

FOLDER = Path(tonegen.page.__file__).parent


def test_the_types_of_the_scripts_are_those_of_the_messages():
    assert WRITTEN.read_text() == types(), "write them again: python -m tests.page.types"


def test_a_message_says_what_can_be_left_out_and_what_is_always_there():
    written = types()

    assert "  engage: { change: string; travel: number };" in written
    assert '  step: { at: number; heard?: "against" | "beating" | "both" };' in written
    assert "  undo: Record<string, never>;" in written
    assert "[low: string, high: string, turns: number, turns_per_second: number]" in written


def test_lines_of_the_scripts_fit_the_screen():
    """Their formatter breaks code, but neither comments nor texts."""
    for file in FOLDER.glob("*/*.js"):
        assert max(len(line) for line in file.read_text().splitlines()) <= 110, file.name
