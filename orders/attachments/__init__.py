"""Files of a case: taken in by what they hold, looked at by a worker, shown to who may see the case."""
