"""The embedded default: broker, worker and web server under one command, for one machine."""
