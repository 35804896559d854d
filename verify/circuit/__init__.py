"""A circuit: boxes, cables, devices and joins, the rules that it keeps, and its file."""
