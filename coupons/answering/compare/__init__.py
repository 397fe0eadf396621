"""Comparison of profiles, and drift of a machine over its runs."""
