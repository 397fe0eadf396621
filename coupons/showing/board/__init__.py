"""The board: the profiles of all machines as a small site that needs no server."""
