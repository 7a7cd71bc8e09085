"""The link to a car: adapter, guard, addresses, questions and answers over CAN, and how a car is found."""
