"""Volts and amperes: circuits as networks of admittances, solved in every state.

`grid` makes the network, `kernel` and `solve` find its voltages, `outcomes` says what lamps and
protection do with them, `readings` what a meter shows. The numbers are in `data/electrical.toml`.
"""
