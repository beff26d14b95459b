"""What the tests run on: real servers, real worker processes, a real browser."""
