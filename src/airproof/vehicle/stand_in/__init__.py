"""The stand-in: the rehearsal's car on a bus between programs, for trying everything without a car."""
