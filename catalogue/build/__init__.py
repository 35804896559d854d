"""This room makes a catalogue from beginning to end, audits it, and merges parts of builds."""
