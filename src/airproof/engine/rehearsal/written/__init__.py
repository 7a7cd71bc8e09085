"""What is left of a rehearsal: the logger, the file it writes, and the truth beside it."""
