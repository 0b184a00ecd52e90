"""Version 3: photos and other files attached to panels; audit findings set aside."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the two tables."""
    op.create_table(
        "ignored",
        sa.Column("key", sa.String(400)),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("why", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_ignored"),
    )
    op.create_table(
        "attachments",
        sa.Column("id", sa.Integer),
        sa.Column("panel_id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_attachments"),
        sa.UniqueConstraint("panel_id", "name", name="uq_attachments_panel_id"),
        sa.ForeignKeyConstraint(["panel_id"], ["panels.id"], name="fk_attachments_panel_id_panels"),
        sqlite_autoincrement=True,
    )
