"""The practice's order form: it parses and prints, and has an order checked while it is filled in."""
