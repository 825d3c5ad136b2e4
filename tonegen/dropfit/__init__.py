"""Cabinet drop from readings of a pitch meter: what was read, slips, the fit, what to read next."""
