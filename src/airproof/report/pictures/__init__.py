"""One file per exhibit: each draws one point of evidence, or says why it cannot."""
