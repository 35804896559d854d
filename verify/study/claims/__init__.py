"""Sayings of the trade as properties: proved, found to hold in samples, or refuted by a circuit."""
