"""What the shop knows of materials, feeds and holding."""
