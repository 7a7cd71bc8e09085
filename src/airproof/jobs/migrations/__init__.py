"""How a store of an earlier form becomes one of today's; run when a store is opened."""
