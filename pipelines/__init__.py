"""The users' whole flows on top of the reader: the command line and its output."""
