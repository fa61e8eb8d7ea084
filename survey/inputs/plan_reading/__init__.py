"""A plan file read step by step: TOML, entries of tables, names, materials and antennas (`plan_file` joins them)."""
