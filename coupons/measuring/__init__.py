"""What was measured: run folder, conditions, entries, checks, the virtual printer."""
