"""The pages of a catalogue: one module a page, each a function that turns a visit into facts.

The facts of a page are plain values: its template shows them, and JSON gives the same.
"""
