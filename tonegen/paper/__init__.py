"""What is drawn for paper: the card for the gig bag, and the trade-off of a scene."""
