"""Counts every wiring for a number of locations, and which of them give any-location control."""
