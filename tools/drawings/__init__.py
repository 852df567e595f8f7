"""Draws the schematic pictures of the guide in reader/locations."""
