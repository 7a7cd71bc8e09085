"""What is known of causes, codes, symptoms, steps and prices, and where it is from: data files, typed.

`load.knowledge()` gives it all; `lookup` answers a mechanic's spelling. An entry without a source is refused.
"""
