"""Published tables: limits of size, hardware, and the numeric limits of a fit."""
