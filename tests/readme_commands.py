"""The commands that README.md gives, by name: so that what is run is what is written.

python tests/readme_commands.py tests
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

README = Path(__file__).resolve().parent.parent / "README.md"


def command(name: str) -> str:
    """The one line of the code block that follows `<!-- command: NAME -->`. Raises LookupError."""
    text = README.read_text(encoding="utf-8")
    found = re.search(rf"<!-- command: {re.escape(name)} -->\n+```bash\n([^\n]+)\n```", text)
    if found is None:
        raise LookupError(f"README.md has no one-line command named {name}")
    return found[1]


if __name__ == "__main__":
    print(command(sys.argv[1]))
