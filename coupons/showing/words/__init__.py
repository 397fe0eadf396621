"""Terminal text: summaries, tables, and what to do next."""
