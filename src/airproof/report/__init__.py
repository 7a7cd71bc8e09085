"""What is handed over: the verdict in words and as JSON, the exhibits, explanations."""
