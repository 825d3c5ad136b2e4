"""What pages ask about OSC that comes in."""

from typing import Annotated

from msgspec import Meta

from tonegen.page.asked import Asked


class OscIn(Asked, frozen=True):
    """Take OSC in at this port of the loopback address; None ends it."""

    port: Annotated[int, Meta(ge=1024, le=65_535)] | None
