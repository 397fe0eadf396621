"""Bodies that a designer drew: read, divided into regions, and where they meet."""
