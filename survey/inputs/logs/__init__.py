"""Logs of polls: who was heard when, by which gateway; read a block at a time, kept as arrays."""

from survey.inputs.logs.grid import Log
from survey.inputs.logs.reader import read_log
from survey.inputs.logs.stamps import DAY_S, NO_ZONE, stamp

__all__ = ["DAY_S", "NO_ZONE", "Log", "read_log", "stamp"]
