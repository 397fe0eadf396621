"""What the printer does: likelihood, fit, estimator, profile."""
