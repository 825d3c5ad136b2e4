"""The keyboard alone: how a player without a mouse comes to a thing on the page."""

MOST_ARROWS = 120
# The box of what has the focus, where what is wanted is gone to by arrows.
TOGETHER = """selector => {
  const wanted = document.querySelector(selector);
  const box = wanted?.closest("[data-keys]");
  const [of, here] = [box?.dataset.stops, document.activeElement];
  return Boolean(box?.contains(here)) && (!of || (here.matches(of) && wanted.matches(of)));
}"""


def is_at(page, selector):
    """Whether the focus is there."""
    return page.evaluate("selector => document.activeElement.matches(selector)", selector)


def tab_to(page, selector, way="Tab"):
    """Press Tab, or Shift+Tab, until the focus is there, or is in its group: then the arrows."""
    for _ in range(100):
        page.keyboard.press(way)
        if is_at(page, selector) or (page.evaluate(TOGETHER, selector) and arrow_to(page, selector)):
            return
    raise AssertionError(f"{way} never comes to {selector}")


def arrow_to(page, selector):
    """Whether arrow keys come there, one way or the other, from where the focus is in its group."""
    page.evaluate("window.before = null")
    for arrow in ("ArrowDown", "ArrowUp", "ArrowRight", "ArrowLeft"):
        for _ in range(MOST_ARROWS):
            page.keyboard.press(arrow)
            if is_at(page, selector):
                return True
            if not page.evaluate("before !== (before = document.activeElement)"):
                break
    return False


def press(page, selector, key="Enter", way="Tab"):
    """Come to a thing and press it."""
    tab_to(page, selector, way)
    page.keyboard.press(key)


def pick(page, selector, value):
    """Come to a list of choices and go down it to one of them."""
    tab_to(page, selector)
    page.keyboard.press("Home")
    for _ in range(60):
        if page.input_value(selector) == value:
            return
        page.keyboard.press("ArrowDown")
    raise AssertionError(f"{selector} has no {value}")
