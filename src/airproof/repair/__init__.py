"""What to do next, and what it is expected to cost: prices, the choices, and the plan."""
