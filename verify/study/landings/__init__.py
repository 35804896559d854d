"""Lands the free ends of one circuit in every way: which ways work, and what they are.

`instance` says what is free and numbers it, `partitions` lists the ways of one box, `search` finds
all ways that work, `survey` judges them, `kinship` tells how they are related.
"""
