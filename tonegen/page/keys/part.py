"""The part of the page that brings keyboards along. What it needs is imported when a page first asks."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from msgspec import Struct

from tonegen.errors import BadValue
from tonegen.page.asked import Asked
from tonegen.page.keys import asks
from tonegen.page.part import Act, Host, Part, Standing

if TYPE_CHECKING:
    from tonegen.keys.plan import Plan
    from tonegen.keys.receivers import Receiver
    from tonegen.page.keys.keyboards import Keyboards

AboutKeys = (
    asks.ShowKeys
    | asks.Receiver
    | asks.FollowChord
    | asks.Send
    | asks.PassThrough
    | asks.Panic
    | asks.PutBack
)


class KeysPart(Part):
    """The receiver that is chosen, and whether it is tuned."""

    def __init__(self, host: Host) -> None:
        """No port is looked at yet."""
        super().__init__(host)
        self._keyboards: Keyboards | None = None
        self._followed: Standing | None = None
        self.is_measured = False  # its port is another part's meanwhile

    def shown(self) -> Iterable[Struct]:
        """Receiver and offsets, once somebody has asked for them."""
        return () if self._keyboards is None else (self._keyboards.view(),)

    def follow_later(self, at: Standing) -> None:
        """A receiver that is tuned follows the rig."""
        self._followed = at
        if self._keyboards is not None:
            self._keyboards.follow(at.rig, at.playing)
            self.host.post(self._keyboards.view())

    def plan(self) -> "Plan":
        """What the chosen receiver gets for the rig as it is at this moment.

        Raises BadValue where the rig allows none.
        """
        keyboards = self._with_keyboards()
        if self._followed is not self.host.at:
            self.follow_later(self.host.at)
        return keyboards.plan()

    def to_measure(self, where: str) -> "tuple[str, Receiver]":
        """The receiver that is chosen, by its name, to be heard at a place.

        Raises BadValue while it is tuned, or where it cannot be reached there.
        """
        return self._with_keyboards().to_measure(where)

    def presets_changed(self) -> None:
        """A receiver was saved: it can be chosen."""
        self.host.post(self._with_keyboards().view())

    async def close(self) -> None:
        """Put the receiver back."""
        if self._keyboards is not None:
            await self._keyboards.close()

    def _do(self, asked: AboutKeys) -> None:
        keyboards = self._with_keyboards()
        match asked:
            case asks.ShowKeys():
                keyboards.look_for_ports()
            case asks.Receiver():
                keyboards.choose(asked.name, asked.policy, asked.follow)
                keyboards.follow(self.host.at.rig, self.host.at.playing)
            case asks.FollowChord():
                keyboards.be_led(asked.lead)
                keyboards.follow(self.host.at.rig, self.host.at.playing)
            case asks.Send() if self.is_measured:
                raise BadValue("this receiver is being measured; stop that first")
            case asks.Send():
                keyboards.send(asked.where)
            case asks.PassThrough():
                keyboards.pass_through(asked.port)
            case asks.Panic():
                keyboards.panic()
            case asks.PutBack():
                keyboards.put_back()
        self.host.post(keyboards.view())

    def _with_keyboards(self) -> "Keyboards":
        if self._keyboards is None:
            from tonegen.page.keys.keyboards import Keyboards

            self._keyboards = Keyboards(self.host.post, self.host.complain)
            self._keyboards.follow(self.host.at.rig, self.host.at.playing)
        return self._keyboards

    acts: ClassVar[dict[type[Asked], Act]] = dict.fromkeys(
        (
            asks.ShowKeys,
            asks.Receiver,
            asks.FollowChord,
            asks.Send,
            asks.PassThrough,
            asks.Panic,
            asks.PutBack,
        ),
        _do,
    )
