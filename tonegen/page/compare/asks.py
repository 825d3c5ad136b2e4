"""What pages ask about two temperaments side by side."""

from tonegen.page.asked import Asked, Name


class Compare(Asked, frozen=True):
    """Show two temperaments side by side, "" being the offsets as they are now; None puts them away."""

    between: tuple[Name, Name] | None
