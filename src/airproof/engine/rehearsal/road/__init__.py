"""The simulated car around its engine: records, sensors, driver, and the drives."""
