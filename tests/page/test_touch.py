"""One touch on its way to the sound: what it passes, and what is left for the picture."""

import sys
from pathlib import Path

import tonegen
from tests.page import asks
from tests.page.visitor import in_the_loop, visitor

OURS = str(Path(tonegen.__file__).parent)
TO_THE_SOUND = 58  # 73 when beats were worked out before; some 30 are the arithmetic of a grip


def passed(page, asked, until):
    """The functions of ours that are called up to one of these, by name."""
    found, there = set(), False

    def look(frame, event, argument):
        nonlocal there
        code = frame.f_code
        if event != "call" or there or not code.co_filename.startswith(OURS):
            return
        there = code.co_qualname in until
        if "<" not in code.co_qualname:
            found.add((code.co_filename, code.co_qualname))

    sys.setprofile(look)
    try:
        page.ask(asked)
    finally:
        sys.setprofile(None)
    assert there, f"none of {until} was called"
    return found


@in_the_loop
def test_a_touch_goes_straight_to_the_sound():
    page = visitor(None, None, asks.Strings((3, 4, 5)))
    page.engine.stage.hear_in_page(48_000, lambda: None)
    page.ask(asks.TurnSound(True), asks.Engage("A", 1.0), asks.Engage("A", 0.0))
    found = passed(page, asks.Engage("A", 1.0), ("Player.glide", "Player.set"))

    names = {name for _, name in found}
    assert {"Engine.ask", "Player.glide"} <= names
    assert "interval_between" not in names, "beats are for the picture; the sound does not wait for them"
    assert len(found) <= TO_THE_SOUND, sorted(found)
