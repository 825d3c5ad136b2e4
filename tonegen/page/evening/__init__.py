"""The part of the page that stands on the stage: the next song, large, and how it is gone on."""
