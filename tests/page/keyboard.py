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
