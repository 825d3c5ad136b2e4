"""What pages ask about a foot board that moves pedals and levers."""

from tonegen.page.asked import Asked, Name


class FootInput(Asked, frozen=True):
    """Take a foot board's controllers in at a MIDI input; "" ends it."""

    port: Name


class LearnPedal(Asked, frozen=True):
    """Have the next controller that is moved to its end move this pedal or lever; "" waits for none."""

    change: Name


class ForgetPedal(Asked, frozen=True):
    """Let no controller move this pedal or lever."""

    change: Name
