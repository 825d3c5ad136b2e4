"""Drop from readings at the page, in Chromium: a player beside his steel, by touch and by keyboard alone."""

from playwright.sync_api import expect

from tests.page.keyboard import pick, press, tab_to

LIST = """string,changes,cents
8,,3.0
8,,3.1
8,A,10.8
8,A,0.8
8,A,0.7
8,A,0.9
8,B,1.9
"""


def readings(page, count):
    expect(page.locator(".taken li")).to_have_count(count)


def uses(page, drop):
    expect(page.locator("[aria-label='Cabinet drop']")).to_have_value(drop)


def drop(page, row=0):
    """What the table of drops shows of its first string."""
    return page.locator(".sag tbody tr").nth(row).locator("td b").all_inner_texts()


def note(page, value):
    page.fill("#read-value", value)
    page.keyboard.press("Enter")


def test_strings_are_read_by_touch_kept_as_a_drop_and_found_again(opened, tmp_path):
    page = opened(390, 844, has_touch=True, is_mobile=True)
    page.tap("nav [data-part=drop]")
    page.tap("tr[data-string='8'] .note")
    assert page.locator("#read-string option:checked").inner_text() == "8, E3"
    note(page, "3.0")
    readings(page, 1)
    page.tap("#lock")  # so that it stays down while the meter's figure is typed
    page.tap("#board [data-change=A]")
    page.wait_for_selector("#read-engaged:has-text('with A')")
    note(page, "0.8")
    page.wait_for_selector(".sag")
    assert drop(page) == ["−2.20"]

    page.tap(".next-one >> nth=0")  # what helps next puts the chart where it is read
    wanted = page.locator(".next-one >> nth=0").inner_text()
    assert wanted.startswith("string 1 open")
    page.wait_for_selector("#read-engaged:has-text('open')")
    assert page.input_value("#read-string") == "1"

    page.tap("[data-unread='1']")
    page.wait_for_selector(".sag", state="detached")
    page.tap("#undo")
    page.wait_for_selector(".sag")
    page.fill("#drop-name", "my-cabinet")
    page.tap("#readings .save button")
    uses(page, "my-cabinet")
    page.tap("#board [data-change=A]")
    page.wait_for_selector("tr[data-string='8'] .drop:has-text('−2.20')")
    [file] = (tmp_path / "own").rglob("my-cabinet.toml")
    assert "8 = -2.2" in file.read_text()

    page.reload()
    page.wait_for_selector(".sag")
    assert drop(page) == ["−2.20"]


def test_a_file_of_readings_is_noted_and_its_slip_is_named(opened, running, tmp_path):
    file = tmp_path / "meter.csv"
    file.write_text(LIST)
    page, other = opened(), opened()
    page.click("nav [data-part=drop]")
    page.click("#readings details:has(#read-lines) > summary")
    page.set_input_files("#read-file", file)
    readings(page, 7)
    [doubt] = page.locator(".doubt").all_inner_texts()
    assert doubt.startswith("does not fit: the others say +0.8")
    said = page.locator(".doubted").all_inner_texts()
    assert said == [f"string 8 with A, 10.8 cents: {doubt}"]  # also above, where it cannot be scrolled away
    assert page.locator("li:has(.doubt) .typed").inner_text() == "10.8 cents"
    assert drop(page) == ["−2.25", "−1.15"]  # A and B
    other.wait_for_selector(".taken li >> nth=6", state="attached")
    file.write_text("string,changes,cents\n8,Z,1\n")
    page.set_input_files("#read-file", file)
    page.wait_for_selector("#fault:has-text('the list: line 2: ')")
    file.write_text("string,cents\n# " + "♯" * 21_000)  # characters of three bytes
    page.set_input_files("#read-file", file)
    page.wait_for_selector("#fault:has-text('add it in parts')")
    readings(page, 7)

    running.end()
    with running:
        readings(page, 7)


def test_drop_is_read_by_keyboard_alone(opened):
    """Letters engage while no field is typed in; Enter notes; beats are counted against a tone."""
    page = opened()
    press(page, "nav [data-part=drop]")
    pick(page, "#read-string", "8")
    tab_to(page, "#read-value")
    page.keyboard.type("3.0")
    page.keyboard.press("Enter")
    readings(page, 1)
    assert page.evaluate("document.activeElement.id") == "read-value"
    tab_to(page, "#unread-all")
    page.keyboard.press("a")
    page.wait_for_selector("#read-engaged:has-text('with A')")
    tab_to(page, "#read-value")
    page.keyboard.type("0.1")
    pick(page, "#read-unit", "beats")
    tab_to(page, "#read-against")
    page.keyboard.type("E3")
    page.keyboard.press("Enter")
    readings(page, 2)
    assert page.locator(".taken .typed").first.inner_text() == "0.1 beats a second against E3"
    assert drop(page) == ["−1.95"]  # 0.1 beats a second above 164.81 Hz is 1.05 cents
    press(page, ".taken [data-unread='0']")
    readings(page, 1)
    page.keyboard.press("Control+z")
    readings(page, 2)
    tab_to(page, "#drop-name")
    page.keyboard.type("by-keys")
    page.keyboard.press("Enter")
    uses(page, "by-keys")
    press(page, "#readings details:has(#read-lines) > summary")
    tab_to(page, "#read-lines")
    page.keyboard.type("string,cents\n9,1.5")
    press(page, "#read-many")
    readings(page, 3)
