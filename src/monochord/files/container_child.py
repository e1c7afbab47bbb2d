"""The guarded child that reads a container whole: ``python -m monochord.files.container_child PATH``.

Prints the reason and ends with 1 when the container cannot be read; a crash ends only this process.
"""

from __future__ import annotations

import sys
from pathlib import Path

from monochord.files.container import read_whole
from monochord.files.formats.guard_child import limit_memory
from monochord.ground.faults import Refused

#: Memory that the child may take [bytes]; a damaged file can ask for any amount.
MOST_MEMORY = 8 << 30


def main(arguments: list[str]) -> int:
    """Read the container; 0 when it is whole."""
    limit_memory(MOST_MEMORY)
    try:
        read_whole(Path(arguments[0]))
    except Refused as refusal:
        print(refusal.faults[0].given)
        return 1
    except Exception as error:
        print(" ".join(str(error).split()) or type(error).__name__)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
