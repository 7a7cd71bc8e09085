"""Languages beside English: catalogues, our own sentences taken apart and said again, numbers as Babel writes them.

Pages and write-up ask `language("de")` for one, and never look into a catalogue themselves.
"""
