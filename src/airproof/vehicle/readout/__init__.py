"""The readout: everything a car's control units hold that can be read, before anything else is done to the car."""
