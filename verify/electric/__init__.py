"""Volts and amperes: circuits as networks of admittances, solved in every state.

`grid` makes the network, `solving_kernel` and `solve` find its voltages, `outcomes` says what lamps
and protection do with them, `readings` what a meter shows. `numbers` are those of
`data/electrical.toml`, `physics` the formulae on them.
"""
