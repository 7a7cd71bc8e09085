"""The car on the line: found, read out, recorded and, asked twice, cleared, from the pages of a job."""
