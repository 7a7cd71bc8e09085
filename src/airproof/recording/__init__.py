"""Recordings: readers of files, one for each format, into one model; what is a signal; what the engine was doing."""
