"""Checks of a fit: predictions of what was left out, surprises, mistakes shared by entries."""
