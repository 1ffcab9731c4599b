"""RS-274 text read back into moves, and the time they take."""
