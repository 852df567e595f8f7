"""One module a schema version, numbered; never changed once released."""
