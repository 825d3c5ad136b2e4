"""One who plays a keyboard, a message at a time, by a clock of the test's own."""


class Player:
    """What is played goes on with the moment; `wait` seconds pass before it."""

    def __init__(self, receive):
        self._receive = receive
        self.now = 100.0

    def play(self, *message, wait=0.0):
        self.now += wait
        self._receive(bytes(message), self.now)

    def strike(self, *keys, wait=0.0):
        for key in keys:
            self.play(0x90, key, 80, wait=wait)

    def lift(self, *keys):
        for key in keys:
            self.play(0x80, key, 64)
