"""OSC that comes in: a foot controller moves what the pages show."""
