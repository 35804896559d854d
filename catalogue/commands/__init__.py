"""The commands of `miswire`, one a module; `catalogue.cli` loads them when they are used."""
