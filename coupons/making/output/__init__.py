"""Files: solids, print files read back, map, preview, and the folder they go into."""
