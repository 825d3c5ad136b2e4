"""The page by the keyboard alone, in Chromium: not one touch of a mouse."""

from playwright.sync_api import expect

from tests.page.keyboard import pick, press, tab_to
from tests.page.looking import broken_rules


def test_a_scene_is_tempered_held_compared_and_kept(opened):
    page = opened()
    press(page, "nav [data-part=temper]")
    pick(page, "#scene", "e9-dance-band")
    page.wait_for_selector("[data-wanted='B major E 4-5-7'][aria-pressed=true]")
    press(page, "[data-wanted='B major E 4-5-7']", "Space")  # left out
    page.wait_for_selector("[data-wanted='B major E 4-5-7'][aria-pressed=false]")
    page.keyboard.press("Space")
    page.wait_for_selector("[data-wanted='B major E 4-5-7'][aria-pressed=true]")
    page.keyboard.press("Tab")  # its weight beside it
    assert page.evaluate("document.activeElement.dataset.weight") == "B major E 4-5-7"
    page.keyboard.press("ArrowUp")
    press(page, "#run")
    page.wait_for_selector("#take")

    tab_to(page, "#along")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    page.wait_for_selector("#along[aria-valuetext^='with the band']")
    assert page.evaluate("document.activeElement.id") == "along"
    press(page, ".ring summary")
    expect(page.locator(".ring").first).to_have_attribute("open", "")
    press(page, "#take", way="Shift+Tab")
    page.wait_for_selector(".stop.moved >> nth=12")

    pick(page, "#compare-second", "five-limit-just")
    press(page, "#compare-begin")
    page.wait_for_selector("#compare th:has-text('five-limit-just')")
    assert page.locator("#compare .sides >> nth=0 >> tbody tr").count() == 12
    press(page, "#compare summary")
    press(page, ".within summary")
    assert page.locator(".within[open] tbody tr").count() > 10
    assert broken_rules(page) == []
    press(page, "#compare-away", way="Shift+Tab")
    expect(page.locator("#compare table")).to_have_count(0)

    press(page, "tr[data-string='5'] .bead", "Space", "Shift+Tab")  # held where it is
    page.wait_for_selector("tr[data-string='5'] .stop.pinned")
    page.keyboard.press("Control+z")
    page.keyboard.press("Control+z")
    page.keyboard.press("Control+z")
    page.keyboard.press("Control+z")
    page.wait_for_selector(".stop.moved", state="detached")


def test_a_song_is_put_on_the_set_list_and_played_from_it(opened):
    page = opened()
    pick(page, "#song-key", "7")
    tab_to(page, "#song-name")
    page.keyboard.type("Invented Waltz")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-song]:has-text('Invented Waltz in G')")

    press(page, "[data-song]", way="Shift+Tab")
    page.wait_for_selector("[data-song][aria-pressed=true]")
    expect(page.locator("#neck output")).to_have_text("fret 3")
    tab_to(page, "#bar", "Shift+Tab")
    page.keyboard.press("ArrowRight")
    page.wait_for_selector("[data-song][aria-pressed=false]")
    expect(page.locator("#neck output")).to_have_text("fret 4")

    press(page, "[aria-label='Take Invented Waltz off the set list']")
    page.wait_for_selector("[data-song]", state="detached")
    page.keyboard.press("Control+z")
    page.wait_for_selector("[data-song]")


def test_the_order_is_gone_through_and_a_step_is_heard(opened):
    page = opened()
    press(page, "nav [data-part=order]")
    press(page, "#make-plan")
    page.wait_for_selector(".count-of:has-text('Step 1 of')")
    assert page.evaluate("document.activeElement.id") == "step-next"  # where the plan goes on
    page.keyboard.press("Enter")
    page.wait_for_selector(".count-of:has-text('Step 2 of')")
    page.keyboard.press("ArrowRight")
    page.wait_for_selector(".count-of:has-text('Step 3 of')")
    press(page, "#step-hear", way="Shift+Tab")
    page.wait_for_selector("#step-hear[aria-pressed=true]")
    press(page, "#step-only")
    page.wait_for_selector("#step-only[aria-pressed=true]")
    assert page.evaluate("document.activeElement.id") == "step-only"
    page.keyboard.press("Escape")
    page.wait_for_selector("#mute[aria-pressed=true]")
    press(page, "#order details:has(.all) summary")
    press(page, "#order .all li:nth-child(5) button")
    page.wait_for_selector(".count-of:has-text('Step 5 of')")
    expect(page.locator("#order details:has(.all)")).to_have_attribute("open", "")  # stays unfolded
    assert page.evaluate("document.activeElement.getAttribute('aria-current')") == "step"


def test_a_count_is_typed(opened):
    page = opened()
    tab_to(page, "#count-beats")
    page.keyboard.type("7")
    press(page, "#count-done")
    page.wait_for_selector(".counted:has-text('0.70 beats a second, 7 in 10 s: if wide, +')")


def test_a_file_is_written(opened):
    page = opened()
    press(page, "#file summary")
    tab_to(page, "#file-seconds")
    page.keyboard.type("1")
    pick(page, "#file-kind", "wav 16")
    with page.expect_download() as loading:
        press(page, "#file-write")
    assert loading.value.suggested_filename == "tonegen.wav"
    page.wait_for_selector("#file output:has-text('written')")
    assert page.evaluate("document.activeElement.id") == "file-write"
