"""The clearance of one joint on the next print, and the chance of each grade."""
