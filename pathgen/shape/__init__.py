"""Pure 2D geometry, with no machining word in it."""
