"""What trade rule says each mark is, and which mark is the serial."""
