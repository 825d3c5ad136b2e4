"""How often Tab must be pressed: each group is one stop, and arrows go on inside it."""

from playwright.sync_api import expect

from tests.page.keyboard import press, tab_to
from tests.page.looking import broken_rules

MOST_STOPS = 30
# Stops from the top of the page to each thing, with one fold open at a time; from a heading of a form to the
# next, which the headings at its top go to.
STOPS = """() => {
  const focused = "a[href], button, input, select, textarea, summary, [tabindex]";
  const stops = () => [...document.querySelectorAll(focused)]
    .filter((one) => one.tabIndex >= 0 && !one.matches(":disabled"))
    .filter((one) => one.checkVisibility({ visibilityProperty: true }));
  const farthest = (all) => {
    const headings = [...document.querySelectorAll("#own-form h3")].filter((one) => one.checkVisibility());
    const top = all.findIndex((one) => one.closest("#own-headings")) + 1;
    const from = (one) => headings.filter((heading) => heading.compareDocumentPosition(one) & 4).at(-1);
    const begun = new Map();
    return Math.max(...all.map((one, at) => {
      const heading = from(one);
      if (!heading) return at + 1;
      if (!begun.has(heading)) begun.set(heading, at);
      return top + at - begun.get(heading) + 1;
    }));
  };
  const found = [farthest(stops())];
  const folds = [...document.querySelectorAll("details:not([open])")].filter((one) => one.checkVisibility());
  for (const fold of folds) {
    fold.open = true;
    found.push(farthest(stops().filter((one) => fold.contains(one) && one.parentElement !== fold)));
    fold.open = false;
  }
  return Math.max(...found);
}"""


def open_part(page, part):
    page.evaluate("(part) => { location.hash = part; }", part)
    page.wait_for_selector(f":root[data-part={part}]")


def test_nothing_in_any_part_is_thirty_stops_away(opened):
    page = opened()
    page.evaluate("ask => import('/static/wire.js').then((wire) => wire.ask(...ask))", [
        "savesong", {"name": "Invented Waltz", "key": 7}
    ])  # fmt: skip
    found = {}
    for part, ready in (
        ("play", "[data-song]"), ("drop", "#read-value"), ("temper", "#run"), ("order", "#make-plan"),
        ("keys", "#send"), ("evening", "[data-number]"), ("own", "#own-start"), ("ears", "#ear-begin"),
    ):  # fmt: skip
        open_part(page, part)
        page.wait_for_selector(ready)
        if part == "temper":
            page.select_option("#scene", "e9-dance-band")
            page.click("#run")
            page.wait_for_selector("#take")
        if part == "order":
            page.click("#make-plan")
            page.wait_for_selector("#step-next")
        if part == "own":
            page.select_option("#own-like", "e9-ten-string")
            page.click("#own-start")
            page.wait_for_selector("[data-cell]")
        if part == "evening":
            page.click("#set-change summary")
            page.wait_for_selector("#song-rows .handle")
        if part == "drop":
            assert broken_rules(page) == []  # before the first reading
        found[part] = page.evaluate(STOPS)

    assert {part: stops for part, stops in found.items() if stops >= MOST_STOPS} == {}


def test_arrows_go_on_inside_a_group_and_tab_leaves_it_where_it_was(opened):
    page = opened()
    tab_to(page, "tr[data-string='3'] .pick")  # what is on is the first stop
    page.keyboard.press("ArrowDown")
    expect(page.locator("tr[data-string='4'] .pick")).to_be_focused()
    page.keyboard.press("ArrowRight")  # open
    page.keyboard.press("ArrowRight")
    expect(page.locator("tr[data-string='4'] .bead").nth(1)).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_selector("#state:has-text('C')")
    page.keyboard.press("End")
    expect(page.locator("tr[data-string='10'] .note")).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("Shift+Tab")
    expect(page.locator("tr[data-string='10'] .note")).to_be_focused()

    press(page, "#board [data-change=B]")
    page.wait_for_selector("#board [data-change=B][aria-pressed=true]")
    page.keyboard.press("Home")
    expect(page.locator("#board [data-change=A]")).to_be_focused()


def test_of_the_rows_of_a_form_one_is_in_the_way_of_tab(opened):
    page = opened()
    open_part(page, "own")
    page.select_option("#own-like", "e9-ten-string")
    page.click("#own-start")
    page.wait_for_selector("[data-cell]")
    tab_to(page, "#own-headings button:nth-child(2)")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.field") == "changes[0].name"
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement.dataset.field") == "changes[2].name"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.dataset.field") == "changes[2].place"
    for _ in range(4):
        page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "own-add-changes"
    page.keyboard.press("Shift+Tab")
    assert page.evaluate("document.activeElement.closest('[data-row]').dataset.row") == "changes[2]"
