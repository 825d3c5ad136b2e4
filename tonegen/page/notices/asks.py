"""What pages ask about what could not be read."""

from tonegen.page.asked import Asked


class Decide(Asked, frozen=True):
    """Go on with what is shown, in place of what could not be read; until then that is not written over."""
