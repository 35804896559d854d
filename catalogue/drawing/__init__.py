"""Pictures of circuits as SVG, made for a page, for paper and for whoever cannot see them.

`wiring_picture` shows boxes, cables and conductors, `schematic_picture` what is connected to what
without them. Geometry is computed as numbers first and written as SVG last.
"""
