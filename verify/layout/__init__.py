"""Where boxes and cables are and how a scheme is wired in them, every way or at random."""
