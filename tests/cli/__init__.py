"""One file of tests for each command."""
