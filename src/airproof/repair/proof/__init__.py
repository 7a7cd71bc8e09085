"""The proof: whether a repair really mended the car, judged from the same checks before and after it."""
