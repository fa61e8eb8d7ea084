"""What people write: plans, materials, antennas, readings, logs; each read whole or refused with every fault named."""
