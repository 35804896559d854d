"""What a catalogue has to compute, and computing it circuit by circuit."""
