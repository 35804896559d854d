"""Making a catalogue from beginning to end, checking it, and putting parts together."""
