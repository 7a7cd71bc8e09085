"""What was measured at a sensor's plug: the file it is written in, the line it makes, and what it speaks for."""
