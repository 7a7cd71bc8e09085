"""The pages: the whole job in a browser, on a laptop or a phone. No rule lives here."""
