"""Drawings of bodies and of where they meet."""
