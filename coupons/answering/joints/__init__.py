"""Lists of joints: the file, the answers for a whole part, and how to loosen it."""
