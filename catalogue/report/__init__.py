"""This room says what is known of circuits and faults, for commands and pages alike."""
