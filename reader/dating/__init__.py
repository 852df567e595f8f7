"""From a serial and a maker to a year with its interval and sources."""
