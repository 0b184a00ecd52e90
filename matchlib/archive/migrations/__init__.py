"""The steps from every earlier schema version to the next, run by Alembic."""
