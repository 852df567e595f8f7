"""Where in the whole photo a string may stand, and in which direction it is read."""
