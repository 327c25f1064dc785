"""What is kept: the record of practice, in SQLite."""
