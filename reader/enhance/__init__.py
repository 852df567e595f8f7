"""Named views that make one kind of mark stand out from its surface."""
