"""A page that is loaded again, comes back by itself, or comes when no more can: it says how things stand."""

from contextlib import ExitStack

import pytest

from tests.real.loudspeaker import RECORD


def test_after_a_reload_nothing_is_said_to_sound_and_one_touch_brings_it_back(opened):
    page = opened(bypass_csp=True)
    page.click("[data-grip='E major 4-5-6']")
    page.click("#sound")
    page.wait_for_selector("#sound:has-text('Stop')")
    page.wait_for_function("document.getElementById('outlet').value === 'page'")
    page.reload()
    page.wait_for_selector("#unheard:has-text('No sound')")
    assert page.locator("#sound").inner_text() == "Hear it here"
    assert page.get_attribute("#sound", "aria-pressed") == "false"
    page.wait_for_selector(".meter[aria-valuenow='-60']")

    page.evaluate(RECORD)
    page.click("#sound")
    page.wait_for_selector("#sound:has-text('Stop')")
    page.wait_for_selector("#unheard", state="hidden")
    page.wait_for_function("window.recorded?.some((one) => Math.abs(one) > 0.001)")
    page.wait_for_selector(".meter:not([aria-valuenow='-60'])")


def test_a_page_too_many_says_so_and_comes_in_when_another_goes(opened, running):
    page = opened()
    page.goto("about:blank")
    with ExitStack() as others:
        for _ in range(63):
            others.enter_context(running.page()).shown("view")
        with running.page() as last:
            last.shown("view")
            page.goto(running.link)
            page.wait_for_selector("#fault:has-text('Too many pages are open, 64 of them')")
        page.wait_for_selector("[data-ready=yes]")
        page.wait_for_selector("#fault", state="hidden")


@pytest.mark.parametrize("running", ["127.0.0.2"], indirect=True)
def test_an_open_tablet_comes_back_by_itself_when_the_program_is_started_again(opened, running):
    """By the link of the first program: nobody scans the code again."""
    tablet, link = opened(820, 1180, has_touch=True), running.link
    tablet.tap("[data-grip='A major A+B 3-4-5']")
    tablet.wait_for_selector("#state:has-text('A+B')")
    running.end()
    tablet.wait_for_selector("#fault:has-text('Lost the laptop')")
    with running:
        assert running.link == link
        tablet.wait_for_selector("[data-ready=yes]")
        assert tablet.locator("#fault").is_hidden()
        assert tablet.locator("#state").inner_text().startswith("A+B")
        tablet.tap("[data-grip='E major 4-5-6']")
        tablet.wait_for_selector("#state:has-text('No pedals')")
