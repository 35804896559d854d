"""Questions to many circuits: wirings counted, sayings judged, pairs of faults, flip tests."""
