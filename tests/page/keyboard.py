"""The keyboard alone: how a player without a mouse comes to a thing on the page."""


def tab_to(page, selector, way="Tab"):
    """Press Tab, or Shift+Tab, until the focus is there."""
    for _ in range(250):
        page.keyboard.press(way)
        if page.evaluate("selector => document.activeElement.matches(selector)", selector):
            return
    raise AssertionError(f"{way} never comes to {selector}")


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
