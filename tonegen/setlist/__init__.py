"""An evening's set: what its file says, and where everything stands in each song."""
