"""Each command's answer as text for a terminal and as JSON, one file for each command.

A command imports its own file only: the others would slow its start.
"""
