"""The library of tunings in Debian's Chromium: found, touched, explained and taken."""

from tests.page.looking import broken_rules


def test_a_tuning_is_found_explained_by_touch_and_made_the_instrument(opened):
    page = opened()
    page.click("#tunings summary")
    page.wait_for_selector("[data-tuning=alphorn]")
    page.fill("#tunings-search", "D A D G B E")
    page.wait_for_selector("[data-tuning=alphorn]", state="detached")
    page.click("[data-tuning=guitar-drop-d]")
    page.click(".tuning-string[data-place='4']")
    assert "major third 5:4" in page.locator(".tuning-sheet table").inner_text()
    assert "want it 7.2 cents apart" in page.locator(".tuning-sheet .to-know").inner_text()
    lines = page.locator(".tuning-string i").evaluate_all("all => all.map((one) => one.offsetHeight)")
    assert lines == sorted(lines)
    assert lines[0] > 0
    assert broken_rules(page) == []
    page.click("#tuning-take")
    page.wait_for_selector("#title:has-text('Guitar drop D')")
    page.click("#rig-box > summary")
    assert page.locator("[aria-label='Instrument']").input_value() == "guitar-drop-d"
    assert page.locator("[aria-label='My targets']").input_value() == "guitar-drop-d"
