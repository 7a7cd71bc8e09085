"""Airproof: is the manifold pressure sensor a truthful witness, and if it is, what is wrong with the engine?"""

__version__ = "0.1.0"
