"""What a circuit is found to do, as values: outcomes, hazards, signatures and verdicts."""
