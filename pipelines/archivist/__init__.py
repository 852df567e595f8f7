"""The archivist's run: thousands of photos read unattended into the casebook, on one machine or several."""
