"""The hazards: what can be wrong with a light that a person may not notice by using it."""
