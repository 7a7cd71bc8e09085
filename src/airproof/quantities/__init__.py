"""Pure formulas of the air path, with units and sources; SI floats or arrays in, the same shape out.

Pressures are absolute Pa unless a name says gauge; temperatures K; air flow kg/s; areas m2; volumes m3;
rotation in revolutions per second. `units` translates at the border, once.
"""
