"""This room keeps a catalogue: its tables, its rows, the texts rendered from them, and exports."""
