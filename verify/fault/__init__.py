"""One mistake in a circuit: its kinds, all places where it can be made, many as arrays."""
