"""Logs of polls: who was heard when, by which gateway; read a block at a time, kept as arrays."""

from survey.logs.grid import Log
from survey.logs.reader import read_log
from survey.logs.stamps import NO_ZONE, stamp

__all__ = ["NO_ZONE", "Log", "read_log", "stamp"]
