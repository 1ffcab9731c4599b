"""Drawings and lettering in: everything a customer brings, as regions in millimetres."""
