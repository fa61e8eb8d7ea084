"""How far requirements go, in a plan and at the command line alike; loaded with the commands, so nothing more."""

MOST_RELAYS = 20
"""A message passes no more inverters than this."""
MOST_GATEWAYS = 1_000
"""No more gateways than this are asked for."""
