"""Version 1: panels and their readings, imports, names, settings."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the first tables."""
    op.create_table(
        "imports",
        sa.Column("id", sa.Integer),
        sa.Column("file", sa.Text, nullable=False),
        sa.Column("sha256", sa.String(64)),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("readings", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_imports"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "names",
        sa.Column("id", sa.Integer),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("spelling", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_names"),
        sa.UniqueConstraint("kind", "key", name="uq_names_kind"),
    )
    op.create_table(
        "panels",
        sa.Column("id", sa.Integer),
        sa.Column("code", sa.String(80), nullable=False),
        sa.Column("ground", sa.Text, nullable=False),
        sa.Column("colour", sa.Text),
        sa.Column("schedule", sa.Text),
        sa.Column("clear", sa.Text),
        sa.Column("date", sa.String(10)),
        sa.Column("sprayer", sa.Text, nullable=False),
        sa.Column("lot", sa.Text, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("extra", sa.Text, nullable=False),
        sa.Column("import_id", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_panels"),
        sa.UniqueConstraint("code", name="uq_panels_code"),
        sa.ForeignKeyConstraint(["import_id"], ["imports.id"], name="fk_panels_import_id_imports"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "readings",
        sa.Column("id", sa.Integer),
        sa.Column("panel_id", sa.Integer, nullable=False),
        sa.Column("import_id", sa.Integer, nullable=False),
        sa.Column("source", sa.String(24), nullable=False),
        sa.Column("illuminant", sa.String(8), nullable=False),
        sa.Column("observer", sa.String(4), nullable=False),
        sa.Column("geometry", sa.String(12), nullable=False),
        sa.Column("lab", sa.Text),
        sa.Column("wavelengths", sa.Text),
        sa.Column("reflectance", sa.Text),
        sa.Column("sd", sa.Double),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("repeat", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_readings"),
        sa.UniqueConstraint("panel_id", "digest", "repeat", name="uq_readings_panel_id"),
        sa.ForeignKeyConstraint(["panel_id"], ["panels.id"], name="fk_readings_panel_id_panels"),
        sa.ForeignKeyConstraint(
            ["import_id"], ["imports.id"], name="fk_readings_import_id_imports"
        ),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_readings_panel_id", "readings", ["panel_id"])
    op.create_table(
        "settings",
        sa.Column("key", sa.String(200)),
        sa.Column("value", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_settings"),
    )
