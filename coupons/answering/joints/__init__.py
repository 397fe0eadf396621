"""A list of joints: its file, each joint's answer, and the chance that all fit on one print."""
