"""Alembic's entry: it runs on the connection that `store.database` hands over, never on one of its own."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], target_metadata=None)
with context.begin_transaction():
    context.run_migrations()
