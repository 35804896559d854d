"""Engines, which find out what a circuit does: one contract, several that check each other."""
