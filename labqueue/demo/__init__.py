"""The demonstration laboratory: a seeded scenario, laid relative to today, with its history."""
