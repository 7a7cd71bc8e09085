"""Logs of a bus: what a tester asked and the car answered, read from a file into a recording, codes and the rest."""
