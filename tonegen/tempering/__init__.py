"""Finding the offsets that make a player's grips ring: what is asked, solved and proved."""
