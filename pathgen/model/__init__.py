"""The values all rooms share. No algorithm lives here."""
