"""The library of tunings: found, drawn, explained, heard and taken."""
