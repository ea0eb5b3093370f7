"""Write the JSON Schema of the room file: `python -m allocator.reading.schema_file FILE`."""

import json
import sys
from pathlib import Path

from allocator.reading.shape import room_schema


def schema_text() -> str:
    """Return the schema as it stands in the docs."""
    return json.dumps(room_schema(), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(schema_text(), encoding="utf-8")
