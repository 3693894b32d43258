"""Statistics that know no device: uncertainty, Monte Carlo, scatter, survival, order."""
