"""The page's sound: where it goes, how loud, and what its clock shows."""
