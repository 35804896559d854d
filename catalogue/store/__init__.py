"""How a catalogue is kept: tables, rows, the texts made of them, and exports."""
