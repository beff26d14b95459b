"""For the practice's day: its calendar for other programs, and its list for a spreadsheet."""
