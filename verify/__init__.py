"""Circuits, faults, proofs and signatures for lights controlled from several places.

Nothing in this package knows a database; `catalogue` stores and serves what is proved here.
"""
