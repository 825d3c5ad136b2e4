"""The set on the stage, in Chromium: how large it is, by touch, and by the keyboard alone."""

import pytest
from playwright.sync_api import expect

from tests.page.keyboard import pick, press
from tests.page.looking import broken_rules
from tests.page.test_evening import INVENTED, write

SCREENS = [(1024, 768), (390, 844), (1440, 900)]


@pytest.fixture
def invented(tmp_path):
    """A set of three songs in the player's folder, in which each press counts."""
    return write(tmp_path / "own" / "tonegen", INVENTED.format(again_seconds=0))


def open_the_set(page):
    page.click("nav [data-part=evening]")
    page.select_option("#set-choice", "invented")
    page.wait_for_selector("#song-next:has-text('Invented Waltz')")


def too_small(page):
    """What can be touched here and is under 40 pixels high or wide."""
    return page.evaluate("""() => [...document.querySelectorAll("#evening :is(button, select, input)")]
      .map((one) => [one.id || one.textContent, one.getBoundingClientRect()])
      .filter(([, box]) => box.width && (box.width < 40 || box.height < 40)).map(([name]) => name)""")


@pytest.mark.parametrize("size", ["usual", "large"])
@pytest.mark.parametrize(("width", "height"), SCREENS)
def test_it_is_read_and_touched_on_any_screen(invented, opened, width, height, size):
    page = opened(width, height, has_touch=True, is_mobile=width == 390)
    page.evaluate("(size) => { document.documentElement.dataset.size = size; }", size)
    page.click("#caution button")
    open_the_set(page)
    assert broken_rules(page) == []
    assert too_small(page) == []
    box = {one: page.locator(f"#{one}").bounding_box() for one in ("song-next", "song-fret", "set-next")}
    assert box["song-next"]["width"] > 0.9 * (width - 70)
    assert page.evaluate("parseFloat(getComputedStyle(document.getElementById('song-fret')).fontSize)") >= 70
    below = box["set-next"]["y"] + box["set-next"]["height"]
    assert below <= height, "where the thumb looks for it"


def test_a_touch_of_a_moment_goes_on(invented, opened):
    page = opened(1024, 768, has_touch=True)
    open_the_set(page)
    box = page.locator("#set-next").bounding_box()
    finger = page.context.new_cdp_session(page)
    there = {"x": box["x"] + 40, "y": box["y"] + 40}
    page.tap("#set-next")  # too short
    finger.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [there]})
    page.wait_for_selector("#song-now:has-text('Now: Invented Waltz, G, fret 3')")
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    expect(page.locator("#song-next")).to_contain_text("Two Rivers Stomp")
    page.tap("[data-number='7']")
    expect(page.locator("#song-next")).to_contain_text("Borrowed Shoes")
    expect(page.locator("#song-now")).to_contain_text("Invented Waltz")


def test_an_evening_by_the_keyboard_alone(invented, opened):
    page, other = opened(), opened(390, 844)
    press(page, "nav [data-part=evening]")
    pick(page, "#set-choice", "invented")
    press(page, "nav [data-part=evening]", "Tab", "Shift+Tab")  # and away again
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("Space")
    expect(page.locator("#song-now")).to_have_text("Now: Invented Waltz, G, fret 3")
    page.keyboard.press("ArrowRight")
    expect(page.locator("#song-now")).to_have_text("Now: Two Rivers Stomp, C, fret 8")
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#song-now")).to_have_text("Now: Invented Waltz, G, fret 3")
    press(page, "[data-number='7']")
    expect(page.locator("#song-next")).to_contain_text("Borrowed Shoes")
    assert page.evaluate("document.activeElement.dataset.number") == "7"  # the focus stays
    other.click("nav [data-part=evening]")
    expect(other.locator("#song-next")).to_contain_text("Borrowed Shoes")
    other.click("nav [data-part=play]")
    expect(other.locator("#neck output")).to_have_text("fret 3")
