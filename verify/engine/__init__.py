"""What finds out what a circuit does: one contract, several engines that check each other."""
