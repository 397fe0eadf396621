"""What is printed: spec → plan → solids → print files and map."""
