"""What the evidence says: checks, testimonies, and the verdict."""
