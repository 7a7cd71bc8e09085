"""The simulated control unit: what it believes, asks for, doses, watches and remembers."""
