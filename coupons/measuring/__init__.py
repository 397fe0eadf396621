"""What hands and calipers found: run folder, conditions, entries, checks, the virtual printer."""
