"""Version 2: every change kept, panels deleted softly, booth climate, customers, digests."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the columns and tables, and fill the history; a later step fills the digests."""
    op.add_column("panels", sa.Column("customer", sa.Text, nullable=False, server_default=""))
    op.add_column("panels", sa.Column("temperature", sa.Double))
    op.add_column("panels", sa.Column("humidity", sa.Double))
    op.add_column(
        "panels", sa.Column("deleted", sa.Boolean, nullable=False, server_default=sa.false())
    )
    op.add_column("panels", sa.Column("digest", sa.String(64), nullable=False, server_default=""))
    op.create_table(
        "history",
        sa.Column("id", sa.Integer),
        sa.Column("panel_id", sa.Integer, nullable=False),
        sa.Column("import_id", sa.Integer),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("action", sa.String(24), nullable=False),
        sa.Column("why", sa.Text, nullable=False),
        sa.Column("before", sa.Text),
        sa.Column("after", sa.Text),
        sa.Column("undoes", sa.Integer),
        sa.PrimaryKeyConstraint("id", name="pk_history"),
        sa.ForeignKeyConstraint(["panel_id"], ["panels.id"], name="fk_history_panel_id_panels"),
        sa.ForeignKeyConstraint(["import_id"], ["imports.id"], name="fk_history_import_id_imports"),
        sa.ForeignKeyConstraint(["undoes"], ["history.id"], name="fk_history_undoes_history"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_history_panel_id", "history", ["panel_id"])
    _fill(op.get_bind())


def _fill(connection: sa.Connection) -> None:
    rows = connection.execute(
        sa.text(
            "SELECT panels.*, imports.at AS at, imports.who AS who FROM panels"
            " JOIN imports ON imports.id = panels.import_id ORDER BY panels.id"
        )
    ).mappings()
    known = [dict(row) for row in rows]
    if not known:
        return
    connection.execute(
        sa.text(
            "INSERT INTO history (panel_id, import_id, at, who, action, why, after)"
            " VALUES (:panel, :import, :at, :who, 'added', '', :after)"
        ),
        [
            {
                "panel": r["id"],
                "import": r["import_id"],
                "at": r["at"],
                "who": r["who"],
                "after": '{"deleted":false}',
            }
            for r in known
        ],
    )
