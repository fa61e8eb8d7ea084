"""What the commands print: results as plain text for a terminal, one file for each command.

A command imports its own file only: what another one needs would cost it its start.
"""
