"""Work with a meter at a sensor's plug: what to measure, where, how, and what to expect here and today."""
