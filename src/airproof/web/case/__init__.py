"""One job as a case file, read from top to bottom: one file for each part of it."""
