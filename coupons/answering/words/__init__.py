"""Answers as sentences."""
