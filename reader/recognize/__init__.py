"""From a region to a reading: characters with rivals, and the N best strings."""
