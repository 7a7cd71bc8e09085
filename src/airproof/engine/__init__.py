"""What is known of one engine, the relations of its air path, and how each cause bends them."""
