"""A page that was loaded again, or that comes when no more can: it says how things stand."""

from contextlib import ExitStack

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
