"""Rakelight's library: everything from a photo's file to an answer. Knows no user, no database and no web."""
