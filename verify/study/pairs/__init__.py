"""Two mistakes at once: which pairs there are, what they do together, and what they hide."""
