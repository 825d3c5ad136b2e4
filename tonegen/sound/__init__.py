"""Where sound leaves the program: a device, or a file."""
