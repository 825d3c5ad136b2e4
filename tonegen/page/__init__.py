"""The local web page: one engine that all open pages share, and the server that carries it to them."""
