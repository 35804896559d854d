"""What the findings mean: the verdict on a circuit, its witness, and the proof in words."""
