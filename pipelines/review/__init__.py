"""`rakelight review`: a local page on which a person decides the cases that were not accepted."""
