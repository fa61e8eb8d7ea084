"""What every room may use: errors, units, limits, plane polygons, tables of text, work in two threads."""
