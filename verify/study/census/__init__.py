"""Counting every wiring of so many locations: which of them give any-location control."""
