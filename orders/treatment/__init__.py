"""One treatment in several cases: what follows what, what was found in between, and both appointments."""
