"""Makes the small kitchen of the recorder's tests importable beside them."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "recorder"))
