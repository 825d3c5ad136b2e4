"""What a hand needs of the page, in Chromium with touch: what is in view, how many touches, how large."""

import pytest
from playwright.sync_api import expect

from tests.page.looking import broken_rules

TABLET, PHONE, LAPTOP = (1024, 768), (390, 844), (1440, 900)
SIZES = [TABLET, PHONE, LAPTOP]
NARROW = (320, 640)
LEAST_PIXELS = 40  # of what is touched
PARTS = ("play", "drop", "temper", "order", "keys", "evening", "own", "ears")
TOUCHED = (
    "button, select, summary, textarea, a[href], input:not([type=checkbox], .bar, .drag *), .check, .own-tick"
)
# A figure is what says nothing else: a number with its sign, its part behind the point, or its unit.
LOOKED_AT = r"""([touched, least]) => {
  const all = [...document.querySelectorAll("body *")].filter((one) =>
    one.checkVisibility({ visibilityProperty: true }) && one.clientWidth > 1
    && !one.closest(".hidden, .skip, caption"));
  const texts = (one) => [...one.childNodes].filter((node) => node.nodeType === Node.TEXT_NODE);
  const said = (one) => texts(one).map((node) => node.data).join("").trim();
  const type = (one) => parseFloat(getComputedStyle(one).fontSize);
  const named = (one) => `${one.tagName} ${one.id || one.className} ${one.textContent.trim().slice(0, 40)}`;
  const words = all.filter(said);
  const figures = words.filter((one) =>
    /^[+−-]?\d+(\.\d+)?( ?(c|cents|Hz|dBFS|%)|\/s)?$/.test(said(one)) && !/^\d+$/.test(said(one))
    && !one.matches(".step-by b")); // a button's name
  const pen = document.createElement("canvas").getContext("2d");
  const room = (one) => ["paddingLeft", "paddingRight"].reduce(
    (left, side) => left - parseFloat(getComputedStyle(one)[side]), one.clientWidth);
  const wider = (one) => {
    pen.font = getComputedStyle(one).font;
    const text = one.selectedOptions[0]?.text ?? "";
    const again = one.closest("label")?.querySelector(".whole")?.checkVisibility();
    return !again && pen.measureText(text).width > room(one);
  };
  return {
    small: all.filter((one) => one.matches(touched)).map((one) => [one, one.getBoundingClientRect()])
      .filter(([, box]) => Math.round(box.width) < least || Math.round(box.height) < least)
      .map(([one, box]) => `${named(one)} ${box.width} ${box.height}`),
    tiny: words.filter((one) => type(one) < 13).map((one) => `${named(one)} ${type(one)}`),
    cut: [
      ...words.filter((one) =>
        one.scrollWidth > one.clientWidth + 1 && getComputedStyle(one).overflowX !== "auto"),
      ...all.filter((one) => one.matches("select") && wider(one)),
    ].map(named),
    sizes: Object.fromEntries(figures.map((one) => [type(one), named(one)])),
  };
}"""


@pytest.fixture
def touched(opened):
    """Opens a page by touch, after the caution about hearing has been read."""

    def open_page(size):
        page = opened(*size, has_touch=True)
        page.tap("#caution button")
        return page

    return open_page


@pytest.mark.parametrize("size", [*SIZES, (840, 1000)])
def test_on_the_first_screen_are_a_triad_its_pairs_the_pedals_the_neck_and_a_string(touched, size):
    page = touched(size)

    expect(page.locator("#pairs .pair")).to_have_count(3)
    for place in range(3):
        expect(page.locator("#pairs .pair").nth(place)).to_be_in_viewport(ratio=1)
    for part in ("#board", "#neck", "#string"):
        expect(page.locator(part)).to_be_in_viewport(ratio=1)
    if size != PHONE:  # chart and beats side by side, and the page does not scroll
        expect(page.locator("#copedent .pick").last).to_be_in_viewport(ratio=1)
        chart, ear, dock = (page.locator(one).bounding_box() for one in (".work", ".ear", ".dock"))
        assert chart["x"] + chart["width"] <= ear["x"]
        assert abs(chart["y"] - ear["y"]) < 1
        assert chart["y"] + chart["height"] <= dock["y"] + 1  # what is told of is not covered
        assert page.evaluate("document.documentElement.scrollHeight") == size[1]


@pytest.mark.parametrize("size", SIZES)
def test_string_6_two_cents_flatter_are_four_touches_and_a_grip_with_two_pedals_three(touched, size):
    """Where the chart is out of sight the string is chosen from a list, which is two touches."""
    page = touched(size)

    def touch(where):
        expect(page.locator(where)).to_be_in_viewport(ratio=1)
        box = page.locator(where).bounding_box()
        page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)

    if size == PHONE:
        expect(page.locator("#string-choice")).to_be_in_viewport(ratio=1)
        page.select_option("#string-choice", "6")
    else:
        touch("tr[data-string='6'] .note")
    touch("[data-step='-1']")
    touch("[data-step='-1']")
    expect(page.locator("#offset-typed")).to_have_value("−2.0")
    expect(page.locator("tr[data-string='6'] .cents")).to_have_text("−2.00 c")

    for where in ("#lock", "#board [data-change=A]", "#board [data-change=B]"):  # the triad stands already
        touch(where)
    page.wait_for_selector("#state:has-text('A+B')", state="attached")
    expect(page.locator("[data-pair='4-3'] .rate")).to_have_text("1.49/s")
    expect(page.locator("[data-pair='4-3']")).to_be_in_viewport(ratio=1)


@pytest.mark.parametrize("size", SIZES)
def test_ten_readings_of_drop_are_24_touches(touched, size):
    """Five strings open, then with A: Drop, Lock, A, and for each the string; figures are typed at once."""
    page = touched(size)
    page.tap("nav [data-part=drop]")
    touches = 1
    for changes in ("open", "with A"):
        if changes == "with A":
            for where in ("#lock", "#board [data-change=A]"):
                expect(page.locator(where)).to_be_in_viewport(ratio=1)
                page.tap(where)
            touches += 2
        for number in (3, 4, 6, 8, 9):
            if size == PHONE:
                page.locator("#read-string").dispatch_event("pointerdown", {"pointerType": "touch"})
                page.select_option("#read-string", str(number))
                touches += 2
            else:
                page.tap(f"tr[data-string='{number}'] .note")
                touches += 1
            expect(page.locator("#read-value")).to_be_focused()
            expect(page.locator("#read-value")).to_be_in_viewport(ratio=1)
            page.keyboard.type("1.5" if changes == "open" else "0.8")
            page.keyboard.press("Enter")

    expect(page.locator(".taken li")).to_have_count(10)
    expect(page.locator(".sag tbody tr")).to_have_count(5)
    assert touches <= 24


def as_a_hand_finds_it(page):
    """In what sizes figures stand; and what is too small to touch or to read, or cut."""
    found = page.evaluate(LOOKED_AT, [TOUCHED, LEAST_PIXELS])
    return found.pop("sizes"), [(fault, one) for fault, those in found.items() for one in those]


@pytest.mark.parametrize("size", [*SIZES, NARROW])
def test_anyone_can_use_it_by_touch(touched, size):
    """All parts within reach, no word cut; axe-core's rules are tried on fuller parts elsewhere as well."""
    page, wrong = touched(size), []
    for part in PARTS:
        page.evaluate("(part) => { location.hash = part; }", part)
        page.wait_for_selector(f":root[data-part={part}]")
        if part == "keys":
            page.wait_for_selector("#send")
        if part == "temper" and size == TABLET:
            page.select_option("#scene", "e9-dance-band")
            page.tap("#run")
            page.wait_for_selector("#along")
        sizes, found = as_a_hand_finds_it(page)
        wrong += [(part, *one) for one in found] + [(part, sizes)] * (len(sizes) > 2)
        if part == "play" or size == NARROW:
            wrong += [(part, one) for one in broken_rules(page)]
    page.evaluate("location.hash = 'play'; document.documentElement.dataset.theme = 'light';")
    page.wait_for_selector(":root[data-part=play]")
    wrong += [("light", one) for one in broken_rules(page, only_colours=True)]
    assert wrong == []


@pytest.mark.parametrize("size", [TABLET, LAPTOP])
def test_what_was_done_is_told_beside_the_chart(touched, size):
    """It lies over the grips' names for some seconds, and over no figure that one reads."""
    page = touched(size)
    page.select_option("[aria-label='Cabinet drop']", "demo-soft-cabinet", force=True)
    expect(page.locator("#told")).to_have_text("demo-soft-cabinet in use.")
    told, chart = (page.locator(one).bounding_box() for one in ("#told", ".work"))

    assert told["x"] >= chart["x"] + chart["width"]
    assert told["y"] + told["height"] <= page.locator("#pairs").bounding_box()["y"]


def test_twelve_strings_and_their_levers_fit_a_laptop(touched):
    page = touched(LAPTOP)
    page.select_option("[aria-label='Instrument']", "universal-twelve-string", force=True)
    expect(page.locator("#copedent tbody tr")).to_have_count(12)
    _, found = as_a_hand_finds_it(page)

    assert found == []
    room, wide = page.evaluate(
        "(one => [one.clientWidth, one.scrollWidth])(document.querySelector('.scroll'))"
    )
    assert wide <= room, "no bead lies under what the strings sound now"
    assert page.evaluate("document.documentElement.scrollHeight") == LAPTOP[1]


def test_the_caution_about_hearing_is_read_once_and_comes_back_by_its_icon(opened):
    page = opened()
    page.click("#caution button")
    page.reload()
    page.wait_for_selector("[data-ready=yes]")
    expect(page.locator("#caution")).to_be_hidden()
    page.click("#hearing")

    expect(page.locator("#caution")).to_contain_text("Sustained tones can harm hearing")


def test_a_grip_of_five_strings_has_rows_and_one_of_three_has_cards(touched):
    page = touched(LAPTOP)
    expect(page.locator("#pairs")).to_have_attribute("data-rows", "false")
    page.tap("[data-grip='E 9 9-8-7-6-5']")

    expect(page.locator("#pairs")).to_have_attribute("data-rows", "true")
