"""What holds for all tests."""

from __future__ import annotations

from hypothesis import settings

# No test judges by the clock: a machine with other work to do makes any call slow once. What must
# be fast is held as a ratio in `tests/benchmarks`, and what hangs by pytest's own timeout.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
