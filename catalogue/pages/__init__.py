"""The pages of a catalogue: one module a page, each a function from a visit to facts.

A page's facts are plain values: its template draws them, and JSON gives the same.
"""
