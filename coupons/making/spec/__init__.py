"""What is asked for: specs in TOML, kinds of rows, and how they settle on nozzle and layers."""
