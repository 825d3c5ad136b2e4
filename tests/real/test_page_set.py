"""A set played from the page at real ports: a keyboard, a foot board and a receiver, in Chromium."""

import pytest
from playwright.sync_api import expect

from tests.page.running import RunningPage
from tests.page.test_evening import write
from tests.real.test_page_keys import Keyboard, Synthesizer
from tonegen.keys.sets import set_plan
from tonegen.presets.sets import set_list

SET = """\
title = "Invented: one organ and a foot board"
instrument = "e9-ten-string"
again_seconds = 0

[[receivers]]
name = "Organ"
receiver = "mts-octave"
port = "organ"
follows = "equal"

[[controls]]
from = "pedals"
on = "control 80"
does = "next"

[[controls]]
from = "pedals"
on = "control 20"
moves = "A"

[[songs]]
name = "Waltz"
key = "G"

[[songs]]
name = "Polka"
key = "C"
follows = { Organ = "quarter-comma-meantone on key" }
"""


@pytest.fixture
def stage(sound_server, laptop, tmp_path):
    """The page, and what is at its ports: organ, keyboard and foot board."""
    file = write(tmp_path / "own" / "tonegen", SET)
    organs = [Synthesizer(sound_server, "organ")]
    keyboard, board = Keyboard(sound_server), Keyboard(sound_server, "pedals")
    with (
        RunningPage(tmp_path / "own", environment=sound_server.environment) as running,
        laptop(running) as page,
    ):
        yield page, set_plan(set_list(str(file))).checked(), organs, keyboard, board
    for one in (*organs, keyboard, board):
        one.close()


def learn_by_a_press(page, board):
    """A switch for the song before; it stands in its row and is written with the rest."""
    page.click("#set-change summary")
    page.click("#add-control")
    row = page.locator("#control-rows li").last
    row.locator("[data-field=does]").select_option("previous")
    row.locator(".learn").click()
    expect(row.locator(".learn")).to_contain_text("Press it now")
    board.send(0xB0, 81, 127)
    expect(page.locator("#press-learned")).to_contain_text("previous. Save the set to keep it")
    assert row.locator("[data-field=on]").input_value() == "control 81"
    page.click("#save-set")
    expect(page.locator("#control-rows [data-was='2']")).to_have_count(1)
    page.click("#set-change summary")


def test_a_foot_goes_on_while_a_note_is_held_and_the_page_shows_it(stage, sound_server):
    """An octave tuning waits until the organ is silent; the held note is named as it was played.

    Before that a switch is learnt by a press of it, and afterwards the organ's cable comes loose.
    """
    page, made, organs, keyboard, board = stage
    (organ,) = organs
    page.click("nav [data-part=evening]")
    page.select_option("#set-choice", "invented")
    learn_by_a_press(page, board)
    page.click("#rig-of-set summary")
    page.check("#rig-of-set label:has-text('keyboard') input")
    page.uncheck("#rig-of-set [value='virtual tonegen in']")
    page.click("#play-set")
    expect(page.locator("#set-receivers")).to_have_text("Organ ready")
    assert organ.received(len(made.start("Organ"))) == list(made.start("Organ"))

    keyboard.send(0x90, 60, 100)
    assert organ.received(1) == [b"\x90\x3c\x64"]
    board.send(0xB0, 80, 127)
    expect(page.locator("#song-now")).to_have_text("Now: Polka, C, fret 8")
    expect(page.locator("#set-receivers")).to_have_text("Organ waits for C4")
    keyboard.send(0x80, 60, 0)
    assert organ.received(1)[0][:2] == b"\x80\x3c"
    change = list(made.change("Organ", 0, 1))
    assert organ.received(len(change)) == change
    expect(page.locator("#set-receivers")).to_have_text("Organ ready")

    board.send(0xB0, 20, 127)
    page.click("nav [data-part=play]")
    expect(page.locator("#state")).to_contain_text("A ·")
    page.click("nav [data-part=evening]")
    board.send(0xB0, 81, 127)
    expect(page.locator("#song-now")).to_have_text("Now: Waltz, G, fret 3")
    organs.pop().close()
    expect(page.locator("#set-receivers")).to_have_text("Organ gone")
    organs.append(organ := Synthesizer(sound_server, "organ on the left"))
    expect(page.locator("#set-receivers")).to_have_text("Organ ready")
    page.click("#put-set-back")
    undo, heard = list(made.undo("Organ")), []
    while heard[-len(undo) :] != undo:  # every pedal is let go of first
        heard += organ.received(1)
