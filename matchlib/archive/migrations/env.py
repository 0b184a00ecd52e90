"""What Alembic runs: the steps, on the connection and in the transaction it is given."""

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=None,
    # SQLite can undo schema changes; the library assumes that it cannot.
    transactional_ddl=True,
    transaction_per_migration=False,
)
with context.begin_transaction():
    context.run_migrations()
