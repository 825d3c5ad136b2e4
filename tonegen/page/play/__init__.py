"""The instrument under hands and feet: chart, grips, bar, songs, and the offsets that the player gives."""
