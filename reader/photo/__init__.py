"""From a file to upright pixels, and what can be measured about the picture."""
