"""What is said of circuits and faults, for commands and pages alike."""
