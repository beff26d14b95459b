"""What practice and laboratory say to each other about a case."""
