"""Tests of what is said about a case."""
