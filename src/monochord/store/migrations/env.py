"""What Alembic runs: the steps, on the connection that the program hands over."""

from __future__ import annotations

from alembic import context

from monochord.store.tables import METADATA

context.configure(connection=context.config.attributes["connection"], target_metadata=METADATA)
context.run_migrations()
