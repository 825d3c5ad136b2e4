"""Two free tones of the page in Chromium, by the keyboard alone; axe-core looks at them unfolded."""

import pytest
from playwright.sync_api import expect

from tests.page.keyboard import pick, press, tab_to
from tests.page.looking import broken_rules


def write(page, selector, text, way="Tab"):
    """Come to a field and write something else into it."""
    tab_to(page, selector, way)
    page.keyboard.press("Control+a")
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def test_two_tones_are_written_heard_and_tuned_by_the_keyboard(opened):
    page = opened(bypass_csp=True)  # what is waited for here is worked out in the page
    press(page, "#tones summary")
    write(page, "#tone-low", "220")
    write(page, "#tone-high", "275.6")
    page.wait_for_selector("#tones .rate:has-text('2.40/s')")
    assert page.locator("#tones .direction").inner_text() == "wide"
    assert page.locator("#tones .counts").inner_text() == "24.0 in 10 s"
    assert page.locator("#tones .cents").inner_text() == "+3.77 c"  # Ellis's formula: 1200 log2 (275.6/275)
    assert page.locator("#tones .listen").inner_text() == "near 1101 Hz"
    assert page.locator("#tone-high-words").inner_text() == "C#4 −9.91 c, 275.60 Hz"

    pick(page, "#tone-ratio", "14:11")
    page.wait_for_selector("#tones .interval:has-text('undecimal major third')")
    pick(page, "#tone-ratio", "")
    page.wait_for_selector("#tones .interval:text-is('major third')")

    press(page, "#tones-hear", "Space")
    page.wait_for_selector("#tones-hear[aria-pressed=true]")
    page.wait_for_selector("[data-sounding=true]")
    clock = "import('/sound/clock.js').then(clock => clock."
    turns = f"{clock}turnsAt('tone-low', 'tone-high', performance.now()))"
    page.wait_for_function(f"{turns}.then(turns => turns !== null)")
    rate = f"{clock}turnsPerSecond('tone-low', 'tone-high'))"
    assert page.evaluate(rate) == pytest.approx(2.4)
    press(page, "#tones-only", "Enter", "Shift+Tab")
    page.wait_for_selector("#tones-only[aria-pressed=true]")
    press(page, "#tones-pure")
    page.wait_for_selector("#tones .rate:has-text('pure')")
    assert page.input_value("#tone-high") == "386.313714c"
    press(page, "#tones-equal")
    page.wait_for_selector("#tones .rate:has-text('8.73/s')")
    page.keyboard.press("Control+z")
    page.wait_for_selector("#tones .rate:has-text('pure')")

    write(page, "#tone-high", "loud", "Shift+Tab")
    page.wait_for_selector("#fault:has-text('upper tone: \"loud\" is not a note name')")
    expect(page.locator("#tones .rate")).to_have_text("pure")

    page.reload()
    page.wait_for_selector("#tones details[open]")  # what is heard is in sight
    assert page.input_value("#tone-low") == "220"
    assert page.input_value("#tone-high") == "386.313714c"
    press(page, "#tones-hear")
    page.wait_for_selector("#tones-hear[aria-pressed=false]")
    press(page, "[data-grip='E major 3-4-5']")
    page.wait_for_function(
        "import('/sound/clock.js').then(clock => clock.turnsAt(5, 4, performance.now()) !== null)"
    )


@pytest.mark.parametrize(("width", "theme"), [(360, "dark"), (1440, "light")])
def test_they_keep_to_wcag_and_to_the_screen(opened, width, theme):
    page = opened(width, 900, theme)
    page.click("#tones summary")
    page.click("#tones-only")
    page.wait_for_selector("#tones-only[aria-pressed=true]")
    assert broken_rules(page) == []
    page.fill("#tone-low", "386c")
    page.keyboard.press("Enter")
    page.wait_for_selector("#fault:has-text('is relative to another tone')")
    fault = page.locator("#fault").bounding_box()
    assert fault["y"] >= 0  # in sight, however far down the hand is
    assert fault["y"] + fault["height"] <= 900
