"""One file for each physical plausibility check."""
