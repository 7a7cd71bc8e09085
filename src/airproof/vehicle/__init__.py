"""Talking to a car: its data items, what its control units answer, and logs of a bus."""
