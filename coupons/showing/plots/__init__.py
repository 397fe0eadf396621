"""Plots as SVG."""
