"""What measurements teach: the model fitted to readings, and missed polls sorted by cause."""
