"""Run by Alembic: the connection is given by whoever opens the store, and the transaction is theirs."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=False)
context.run_migrations()
