"""A steel of the player's own made by touch, in Chromium: how many touches it takes, and that it fits."""

from time import monotonic

import pytest
from playwright.sync_api import expect

from tests.page.looking import broken_rules
from tonegen.presets.instruments import instrument

TABLET, PHONE, LAPTOP = (1024, 768), (390, 844), (1440, 900)
# An invented steel of twelve strings: two raised or lowered strings for each of eight changes.
NOTES = "F#4 D#4 G#4 E4 B3 G#3 F#3 E3 D3 B2 G#2 E2"
CHANGES = {
    "A": {5: 2, 10: 2}, "B": {3: 1, 6: 1}, "C": {4: 2, 5: 2}, "LKL": {4: 1, 8: 1}, "LKR": {4: -1, 8: -1},
    "LKV": {5: -1, 10: -1}, "RKL": {2: -2, 9: -1}, "RKR": {1: 1, 7: 1},
}  # fmt: skip
MOST_TOUCHES = 60


@pytest.fixture
def own(running, monkeypatch, tmp_path):
    """The folder of the running page, as this test's own."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "own"))
    return tmp_path / "own" / "tonegen"


class Finger:
    """Touches the page, and counts; a field is typed into by its keyboard."""

    def __init__(self, page):
        self.page, self.touches, self.keys = page, 0, 0

    def touch(self, where):
        self.page.locator(where).scroll_into_view_if_needed()
        self.page.tap(where)
        self.touches += 1

    def type(self, where, text):
        self.touch(where)
        self.page.keyboard.press("Control+A")
        self.page.keyboard.type(text)
        self.page.keyboard.press("Enter")
        self.keys += len(text) + 1


def begin(page, like=""):
    page.tap("nav [data-part=own]")
    page.select_option("#own-like", like)
    page.tap("#own-start")
    page.wait_for_selector("#own-form h3")


def too_small(page):
    """What can be touched here and is under 40 pixels high or wide."""
    return page.evaluate("""() => [...document.querySelectorAll("#own :is(button, select, input, summary)")]
      .map((one) => [one.id || one.textContent, one.getBoundingClientRect()])
      .filter(([, box]) => box.width && (box.width < 40 || box.height < 40)).map(([name]) => name)""")


def cut(page):
    """Whose words do not fit."""
    return page.evaluate("""() => [...document.querySelectorAll("#own :is(button, label, th, b, p, h3)")]
      .filter((one) => one.clientWidth && one.scrollWidth > one.clientWidth + 1)
      .map((one) => one.id || one.textContent)""")


def test_a_twelve_string_of_ones_own_with_eight_changes(opened, own, capsys):
    page = opened(1024, 768, has_touch=True)
    page.click("#caution button")
    finger = Finger(page)
    began = monotonic()
    finger.touch("nav [data-part=own]")
    finger.touch("#own-start")
    finger.type("#own-notes", NOTES)
    page.wait_for_selector("[id='own-strings[11].open']")
    for at in range(len(CHANGES)):
        finger.touch("#own-add-changes")
        page.wait_for_selector(f"[id='own-changes[{at}].name']")
    for at, moves in enumerate(CHANGES.values()):
        for string, by in moves.items():
            finger.touch(f"[data-cell='changes[{at}].moves.{string}']")
            finger.touch(f".own-steps [data-by='{by}']")
            said = f"{'−' if by < 0 else '+'}{abs(by)}"
            expect(page.locator(f"[data-cell='changes[{at}].moves.{string}']")).to_have_text(said)
    finger.type("#own-name", "my-twelve")
    finger.touch("#own-save")
    expect(page.locator("#own-words")).to_contain_text("Saved as my-twelve.")
    took = monotonic() - began
    with capsys.disabled():
        print(f"\na twelve-string: {finger.touches} touches and {finger.keys} keys, {took:.0f} s as scripted")
    assert finger.touches <= MOST_TOUCHES
    steel = instrument("my-twelve")
    assert len(steel.strings) == 12
    assert {change.name: dict(change.semitones) for change in steel.changes} == CHANGES
    assert steel.body.foot == ("A", "B", "C")
    assert steel.body.knees == (("LKL", "LKR", "LKV"), ("RKL", "RKR"))
    page.tap("#own-use")
    page.tap("nav [data-part=play]")
    expect(page.locator("#copedent tbody tr")).to_have_count(12)


def test_it_is_read_and_touched_on_any_screen(opened):
    for is_phone in (False, True):
        page = opened(has_touch=True, is_mobile=is_phone)
        page.click("#caution button")
        page.tap("nav [data-part=own]")
        assert is_phone or broken_rules(page) == []
        expect(page.locator("#own-start")).to_have_text("Start from scratch")
        begin(page, "e9-ten-string")
        page.tap("[data-cell='changes[6].moves.2']")
        page.tap(".own-cell summary")
        expect(page.locator("[id='own-changes[6].half_stops.2[0][2]']")).to_have_value("D4")
        for width, height in [PHONE] if is_phone else [TABLET, LAPTOP]:
            page.set_viewport_size({"width": width, "height": height})
            assert broken_rules(page) == []
            assert too_small(page) == []
            assert cut(page) == []
        page.tap("#own-forget")
        expect(page.locator("#own-start")).to_have_text("Make one like it")


def test_what_is_wrong_is_said_at_its_field_and_nothing_is_lost(opened, own):
    page = opened(1024, 768, has_touch=True)
    begin(page, "e9-ten-string")
    wrong = page.locator("[id='own-strings[3].open']")
    wrong.fill("E12")
    expect(wrong.locator("xpath=../small")).to_contain_text("out of range")
    expect(page.locator("#own-first")).to_have_text("2 things to fix")
    page.fill("[id='own-changes[0].name']", "B")
    expect(page.locator("[id='own-changes[0].name'] + small")).to_contain_text("B is taken")
    page.tap("#own-save")
    expect(page.locator("#own-words")).to_contain_text("Nothing was saved")
    page.reload()
    page.wait_for_selector("#own-form h3")
    expect(page.locator("[id='own-strings[3].open']")).to_have_value("E12")
    expect(page.locator("[id='own-changes[0].name']")).to_have_value("B")
    page.tap("#own-first")
    expect(page.locator("[id='own-strings[3].open']")).to_be_focused()
    assert not (own / "instruments").exists()


def test_the_field_that_is_typed_in_stays_while_others_change(opened):
    page, other = opened(1024, 768, has_touch=True), opened(390, 844, has_touch=True)
    begin(page)
    other.tap("nav [data-part=own]")
    page.fill("#own-title", "Mine")
    expect(other.locator("#own-title")).to_have_value("Mine")
    page.locator("[id='own-strings[0].open']").press_sequentially("#")
    other.tap("#own-add-strings")
    page.wait_for_selector("[id='own-strings[1].open']")
    expect(page.locator("[id='own-strings[0].open']")).to_be_focused()


@pytest.mark.parametrize("screen", [TABLET, PHONE, LAPTOP])
def test_the_other_kinds_fit_any_screen(opened, own, screen):
    page = opened(*screen, has_touch=True, is_mobile=screen == PHONE)
    page.click("#caution button")
    page.tap("nav [data-part=own]")
    for kind, like in (
        ("scenes", "e9-dance-band"),
        ("drops", "demo-soft-cabinet"),
        ("receivers", "mpe"),
        ("receivers", "mts-bulk"),
    ):
        page.tap(f"[data-kind={kind}]")
        page.select_option("#own-like", like)
        page.tap("#own-start")
        page.wait_for_selector("#own-form h3")
        assert broken_rules(page) == []
        assert too_small(page) == []
        assert cut(page) == []
        if kind == "scenes":
            chip = page.locator("[id='own-chip-E major 5-6-8']")
            was = chip.get_attribute("aria-pressed")
            for pressed in ("false" if was == "true" else "true", was):
                chip.tap()
                expect(chip).to_have_attribute("aria-pressed", pressed)
        if kind == "drops":
            page.select_option("#own-steel", "universal-twelve-string")
            expect(page.locator("[id='own-cents.P5.12']")).to_have_count(1)
        page.fill("#own-name", f"mine-{like}")
        page.fill("#own-title", "Mine")
        page.tap("#own-save")
        expect(page.locator("#own-words")).to_contain_text(f"Saved as mine-{like}.")
        assert 'title = "Mine"' in (own / kind / f"mine-{like}.toml").read_text()
        page.tap("#own-use")
        page.tap("#own-forget")


@pytest.mark.parametrize("screen", [TABLET, PHONE, LAPTOP])
@pytest.mark.parametrize(("kind", "like"), [("instruments", "e9-ten-string"), ("receivers", "mpe")])
def test_save_stays_where_it_is_while_its_name_is_right_and_wrong(opened, own, screen, kind, like):
    """What is wrong comes and goes a moment after it was typed, when the finger is on its way.

    A form may be longer than the screen, or shorter.
    """
    page = opened(*screen, has_touch=True, is_mobile=screen == PHONE)
    page.click("#caution button")
    page.tap("nav [data-part=own]")
    page.tap(f"[data-kind={kind}]")
    begin(page, like)
    wrong = page.locator("[data-field=name] ~ .wrong")
    expect(wrong).to_have_text("give it a name to save it under")
    before = page.locator("#own-save").bounding_box()
    page.fill("#own-name", "my-steel")
    expect(wrong).to_be_empty()
    assert page.locator("#own-save").bounding_box() == pytest.approx(before, abs=1)
    page.fill("#own-name", "a/b")
    expect(wrong).not_to_be_empty()
    assert page.locator("#own-save").bounding_box() == pytest.approx(before, abs=1)


def test_offsets_are_kept_under_a_name(opened, own):
    page = opened(1024, 768, has_touch=True)
    page.tap("nav [data-part=own]")
    page.fill("#keep-name", "vallotti")
    page.tap("#keep")
    expect(page.locator("#keep-wrong")).to_contain_text("comes with the program")
    page.fill("#keep-name", "my-targets")
    page.tap("#keep")
    expect(page.locator("#keep-said")).to_have_text("Saved as my-targets. In use.")
    assert (own / "temperaments" / "my-targets.toml").exists()
