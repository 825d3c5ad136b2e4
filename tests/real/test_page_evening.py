"""The set on the stage, in Chromium: how large it is, by touch, and by the keyboard alone."""

import tomllib

import pytest
from playwright.sync_api import expect

from tests.keys.conftest import Synthesizer
from tests.page.keyboard import pick, press, tab_to
from tests.page.looking import broken_rules
from tests.page.test_evening import INVENTED, write
from tests.page.test_set_rig import SET

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
    page.wait_for_selector("#song-next:has-text('Invented Waltz')")
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


def open_the_rows(page):
    open_the_set(page)
    page.click("#set-change summary")
    page.wait_for_selector("#song-rows li >> nth=2")


def order(page):
    return page.locator("#song-rows [data-field=name]").evaluate_all("all => all.map(({ value }) => value)")


def in_the_file(place):
    return [song["name"] for song in tomllib.loads(place.read_text())["songs"]]


@pytest.mark.parametrize(("width", "height"), SCREENS)
def test_rows_are_changed_on_any_screen(invented, opened, width, height):
    page = opened(width, height, has_touch=True, is_mobile=width == 390)
    open_the_rows(page)
    page.tap("#add-receiver")
    assert broken_rules(page) == []
    assert too_small(page) == []


def test_songs_are_put_in_order_by_a_finger(invented, opened):
    page = opened(1024, 768, has_touch=True)
    open_the_rows(page)
    page.locator("#song-rows").scroll_into_view_if_needed()
    handle = page.locator("#song-rows .handle").last
    handle.scroll_into_view_if_needed()
    finger = page.context.new_cdp_session(page)
    box = handle.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    top = page.locator("#song-rows li").first.bounding_box()["y"]
    finger.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for step in range(1, 21):
        there = {"x": x, "y": y + (top + 5 - y) * step / 20}
        finger.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [there]})
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert order(page) == ["Borrowed Shoes", "Invented Waltz", "Two Rivers Stomp"]
    assert in_the_file(invented)[0] == "Invented Waltz"  # until it is saved
    page.click("#save-set")
    expect(page.locator("#song-next")).to_contain_text("Borrowed Shoes")
    assert in_the_file(invented) == ["Borrowed Shoes", "Invented Waltz", "Two Rivers Stomp"]


def test_a_set_is_changed_by_the_keyboard_alone(invented, opened):
    page = opened()
    open_the_set(page)
    press(page, "#set-change summary")
    page.wait_for_selector("#song-rows li >> nth=2")
    tab_to(page, "#song-rows .handle")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    assert order(page) == ["Two Rivers Stomp", "Invented Waltz", "Borrowed Shoes"]
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.value") == "Invented Waltz"  # the focus went along
    page.keyboard.press("Tab")
    page.keyboard.type("H")
    press(page, "#save-set")
    page.wait_for_selector("[data-field=key][aria-invalid]:focus")
    expect(page.locator(".of-key .wrong").nth(1)).to_contain_text("H")
    assert in_the_file(invented)[0] == "Invented Waltz"
    page.keyboard.press("Control+a")
    page.keyboard.type("A")
    press(page, "#save-set")
    page.wait_for_selector("#set-songs li:nth-child(2):has-text('Invented Waltz, A, fret 5')")
    assert in_the_file(invented) == ["Two Rivers Stomp", "Invented Waltz", "Borrowed Shoes"]


def test_what_is_typed_stays_when_another_tablet_saves(invented, opened):
    page, other = opened(), opened(1024, 768)
    open_the_rows(page)
    page.fill("#song-rows li:nth-child(1) [data-field=line]", "Typed and not saved")
    other.click("nav [data-part=evening]")
    other.click("#set-change summary")
    other.fill("#song-rows li:nth-child(1) [data-field=line]", "Saved")
    other.click("#save-set")
    page.wait_for_selector("#song-line:has-text('Saved')")
    page.click("#save-set")
    page.wait_for_selector("#fault:has-text('was changed meanwhile')")
    assert page.input_value("#song-rows li:nth-child(1) [data-field=line]") == "Typed and not saved"
    assert 'line = "Saved"' in invented.read_text()


@pytest.fixture
def rig(tmp_path):
    """A set with two receivers, which the test stands for."""
    both = Synthesizer(), Synthesizer()
    low, high = (one.where.removeprefix("osc ") for one in both)
    write(tmp_path / "own" / "tonegen", SET.format(low=low, high=high))
    yield both
    for one in both:
        one.close()


@pytest.mark.parametrize(("width", "height"), SCREENS)
def test_receivers_are_tuned_stand_in_the_bar_and_are_put_back(rig, opened, width, height):
    page = opened(width, height, has_touch=True, is_mobile=width == 390)
    page.click("#caution button")
    page.click("nav [data-part=evening]")
    page.select_option("#set-choice", "invented")
    page.wait_for_selector("#song-next:has-text('Waltz')")
    page.click("#rig-of-set summary")
    page.uncheck("#rig-of-set [value='virtual tonegen in']")  # there is no MIDI system here
    assert broken_rules(page) == []
    assert too_small(page) == []
    page.click("#play-set")
    expect(page.locator("#set-receivers")).to_have_text("Low readyHigh ready")
    expect(page.locator("#song-now")).to_contain_text("Waltz")
    assert broken_rules(page) == []
    assert too_small(page) == []
    page.evaluate("scrollTo(0, 0)")
    for one in ("set-receivers", "set-next"):
        box = page.locator(f"#{one}").bounding_box()
        assert box["y"] + box["height"] <= height, "on the first screen"
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("Space")
    expect(page.locator("#song-now")).to_contain_text("Polka")
    low, _ = rig
    assert len(low.take(12 + 11)) == 23
    page.click("#put-set-back")
    expect(page.locator("#set-receivers")).to_be_hidden()
    assert len(low.take(12)) == 12


def test_receivers_are_played_by_the_keyboard_alone(rig, opened):
    page = opened()
    press(page, "nav [data-part=evening]")
    pick(page, "#set-choice", "invented")
    press(page, "#rig-of-set summary")
    press(page, "#rig-of-set [value='virtual tonegen in']", "Space")
    press(page, "#play-set")
    expect(page.locator("#set-receivers")).to_have_text("Low readyHigh ready")
    press(page, "#put-set-back")
    expect(page.locator("#play-set")).to_be_visible()
