"""One file for each form of the store, each naming the one before."""
