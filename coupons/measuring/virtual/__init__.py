"""The virtual printer: a machine of known causes, hands and a caliper, and the rehearsed run."""
