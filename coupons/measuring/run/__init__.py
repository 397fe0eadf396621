"""A run as files: conditions, entries, what is said about a print, and its folder."""
