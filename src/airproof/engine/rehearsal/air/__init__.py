"""The air path of the simulated engine: what it is made of, how it flows, and how it is carried on in time."""
