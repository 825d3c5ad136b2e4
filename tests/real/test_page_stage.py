"""Stage mode in Chromium: what is read and touched from where one plays, on any screen and in any type."""

import pytest
from playwright.sync_api import expect

from tests.page.looking import broken_rules

SCREENS = [(1024, 768), (390, 844), (1440, 900), (320, 640)]
# A screen that the browser keeps on, as far as a script can tell.
STAYS_ON = """
window.awake = 0;
const lock = { released: false, release() { if (!this.released) window.awake--; this.released = true; } };
const request = async () => { window.awake++; lock.released = false; return lock; };
Object.defineProperty(navigator, "wakeLock", { value: { request } });
"""
# The strand is two fifths of the screen high, and all of the sentence can be read.
FITS = """(high) => { const words = document.querySelector(".sentence");
  const strand = document.querySelector(".step .strands").getBoundingClientRect();
  return Math.abs(strand.height - 0.4 * high) < 1 && words.scrollHeight <= words.clientHeight; }"""


def box(page, selector):
    return page.locator(selector).bounding_box()


def too_small(page, part):
    return page.evaluate(
        """(part) => [...document.querySelectorAll(`#${part} button`)]
      .map((one) => [one.textContent, one.getBoundingClientRect()])
      .filter(([, box]) => box.width && (box.width < 40 || box.height < 40)).map(([words]) => words)""",
        part,
    )


def in_the_type(page, size):
    page.evaluate("(size) => { document.documentElement.dataset.size = size; }", size)


def screens_and_types(page):
    """Each screen in each type: the page is turned and made larger or smaller as it stands."""
    for size in ("usual", "large"):
        in_the_type(page, size)
        for width, height in SCREENS:
            page.set_viewport_size({"width": width, "height": height})
            yield width, height


def test_a_step_is_one_sentence_a_strand_and_next(opened):
    page = opened(before=STAYS_ON, bypass_csp=True)  # what is waited for here is worked out in the page
    page.click("#caution button")
    page.select_option("[aria-label='My targets']", "five-limit-just", force=True)
    page.click("nav [data-part=order]")
    page.click("#make-plan")
    page.click("#order .to-stage")
    for step in range(2, 12):
        page.click("#step-next")
        page.wait_for_selector(f".count-of:has-text('Step {step} of')")
    expect(page.locator("nav")).to_be_hidden()
    for width, height in screens_and_types(page):
        page.wait_for_function(FITS, arg=height)
        assert broken_rules(page) == []
        assert too_small(page, "order") == []
        following = box(page, "#step-next")
        assert abs(following["x"] - width / 2) < 12
        assert following["x"] + following["width"] > width * 0.95 - 12
        assert following["y"] + following["height"] <= height, "on the first screen"
        read = page.evaluate("parseFloat(getComputedStyle(document.querySelector('.sentence')).fontSize)")
        assert read >= (64 if width >= 1024 else 22)
    assert page.evaluate("window.awake") == 1
    page.click("#order .to-stage")
    expect(page.locator("nav")).to_be_visible()
    assert page.evaluate("window.awake") == 0


def test_next_is_the_right_half_of_the_sets_stage(opened):
    page = opened(before=STAYS_ON)
    page.click("#caution button")
    page.click("nav [data-part=evening]")
    page.select_option("#set-choice", "demo-dance-night")
    page.wait_for_selector("#song-next:has-text('Invented Waltz')")
    page.click("#evening .to-stage")
    expect(page.locator("nav")).to_be_hidden()
    for width, height in screens_and_types(page):
        assert broken_rules(page) == []
        assert too_small(page, "evening") == []
        on = box(page, "#set-next")
        assert abs(on["x"] - width / 2) < 12
        assert on["x"] + on["width"] > width * 0.95 - 12
        assert on["y"] + on["height"] <= height, "on the first screen"
    assert page.evaluate("window.awake") == 1
    page.evaluate("location.hash = 'play'")
    expect(page.locator("nav")).to_be_visible()
    assert page.evaluate("window.awake") == 0


def test_large_type_is_for_the_stage_alone(opened):
    page = opened()
    root = "parseFloat(getComputedStyle(document.documentElement).fontSize)"
    usual = page.evaluate(root)
    in_the_type(page, "large")
    assert page.evaluate(root) == usual
    page.click("nav [data-part=evening]")
    page.click("#evening .to-stage")
    assert page.evaluate(root) == pytest.approx(1.5 * usual)
