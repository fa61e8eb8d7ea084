"""Results as plain values for JSON, in the shapes that the interface fixes, one file for each command.

A command imports its own file only: what another one needs would cost it its start.
"""
