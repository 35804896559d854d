"""This room plans what a catalogue has to compute, and computes it circuit by circuit."""
