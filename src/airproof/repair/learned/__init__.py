"""Learning from closed jobs: what a job says, one file per shop, and the shop's own numbers in place of judged ones."""
