"""This room draws circuits as SVG, for pages, for paper and for whoever cannot see pictures.

`wiring_picture` shows boxes, cables and conductors; `schematic_picture` leaves them out and shows
what is connected to what. Geometry is computed as numbers first and written as SVG last.
"""
