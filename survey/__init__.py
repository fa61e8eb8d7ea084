"""Decide where the radio gateway of a solar site goes, and check it afterwards."""

__version__ = "0.1.0"
