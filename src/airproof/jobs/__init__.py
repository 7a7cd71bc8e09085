"""The job and its store: every fact is an event, nothing is lost by correcting it, and recordings lie beside it.

Pages and terminal use the same functions: `opening.open_store`, `store.Store`, and the modules `adding`, `weighing`,
`job_file` and `deleting`.
"""
