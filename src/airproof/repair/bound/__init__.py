"""What no plan can stay below: a sound lower bound on the expected cost of the whole job."""
