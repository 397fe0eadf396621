"""The posterior of one fit: likelihood, mode, corrections, and the sum over scatters."""
