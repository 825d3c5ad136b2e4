"""A keyboard heard at the page: what it plays off by itself, and what is left once that is taken back."""
