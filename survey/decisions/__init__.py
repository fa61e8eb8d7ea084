"""What to do: where gateways go, how certain that is, spots side by side, remedies, and what looks wrong in a plan."""
