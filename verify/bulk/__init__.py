"""Every single fault of a circuit at once, as arrays, each different network judged once."""
