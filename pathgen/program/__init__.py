"""Cuts in order, joined by lifts and rapids, and written as RS-274 text."""
