"""What a player sees in Chromium when a file of his is spoilt, and what his touch does about it."""

import json

import pytest

from tests.page import spoiling
from tests.page.looking import broken_rules
from tests.page.running import RunningPage


@pytest.fixture
def running(own_folder):
    """The program, on a folder in which the instrument's file has a slip."""
    spoiling.furnish(own_folder)
    (own_folder / "instruments" / "my-steel.toml").write_text("no preset\n")
    with RunningPage(own_folder.parent) as page:
        yield page


def test_a_spoilt_instrument_is_said_and_mended_while_the_page_is_open(opened, running, own_folder):
    page = opened()
    said = page.locator("#notices p").first
    said.wait_for()
    assert "my-steel.toml" in said.inner_text()
    assert len(page.locator("#setlist [data-song]").all()) == 12
    assert broken_rules(page) == []
    kept = (own_folder / "page.json").read_bytes()
    page.click("#setlist [data-song='Invented Song 5']")
    page.wait_for_selector("#setlist [data-song='Invented Song 5'][aria-pressed=true]")
    assert (own_folder / "page.json").read_bytes() == kept
    copy = next((own_folder / "earlier" / "instruments").iterdir())
    (own_folder / "instruments" / "my-steel.toml").write_bytes(copy.read_bytes())
    page.wait_for_selector("#notices", state="hidden")


def test_the_player_can_go_on_with_what_is_shown(opened, running, own_folder):
    page = opened()
    page.click("#notices button")
    page.wait_for_selector("#notices button", state="detached")
    with running.page() as visitor:
        visitor.ask("savesong", name="One More", key=5)
        visitor.shown("view", lambda view: view["songs"][-1]["name"] == "One More")
    running.end()
    assert json.loads((own_folder / "page.json").read_text())["setting"]["songs"][-1]["name"] == "One More"
    assert not (own_folder / "page-undecided.json").exists()
