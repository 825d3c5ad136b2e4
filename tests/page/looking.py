"""What everyone must find on the page: axe-core's rules (WCAG 2.2 AA, best practices), no sideways scroll."""

from axe_playwright_python.sync_playwright import Axe


def broken_rules(page, only_colours=False):
    """Each rule that is broken, and where; "too wide" where it does not fit the screen.

    only_colours : of a page that is looked at in its other look.
    """
    options = {"resultTypes": ["violations"]}
    if only_colours:
        options["runOnly"] = ["color-contrast"]
    found = Axe().run(page, options=options)
    broken = [(one["id"], [node["target"] for node in one["nodes"]]) for one in found.response["violations"]]
    if page.evaluate("document.documentElement.scrollWidth") > page.viewport_size["width"]:
        broken.append(("too wide", []))
    return broken
