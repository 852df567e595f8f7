"""What an answer looks like: text, JSON, CSV, and a picture with the marks drawn on it."""
