"""Records kept in a database; the only home of SQLAlchemy and Alembic."""
