"""What Alembic runs: the steps, on the connection that the program hands over."""

from __future__ import annotations

from alembic import context

import monochord.store.tables_told  # noqa: F401  # its tables belong to METADATA too
from monochord.store.tables import METADATA

context.configure(connection=context.config.attributes["connection"], target_metadata=METADATA)
context.run_migrations()
