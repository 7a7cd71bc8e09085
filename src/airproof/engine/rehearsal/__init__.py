"""The rehearsal: a simulated engine with its control unit, every fault, a driver, and a logger that polls them."""
