"""Checks of a run before it is fitted: mistyped values, contradictions, doubtful conditions."""
