"""Presses and clips: what the plastic can bear."""
