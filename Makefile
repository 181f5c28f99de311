# Every target sets up what it needs in .venv; nothing by hand.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
# PYTEST_ARGS narrows a run: make test PYTEST_ARGS="tests/logger -k verdict"
PYTEST_ARGS ?=

.PHONY: demo test lint types check bench soak picture clean

demo: $(VENV)/.ready-run
	@$(BIN)/coolcrumb demo --open

test: .ci-packages $(VENV)/.ready-dev lint
	$(BIN)/pytest -n 2 --dist loadgroup --cov --cov-report=term:skip-covered $(PYTEST_ARGS)

lint: $(VENV)/.ready-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: .ci-packages $(VENV)/.ready-dev
	$(BIN)/python -m pytest tests/benchmarks -p no:xdist --no-cov -s --timeout 900 --override-ini python_files=bench_*.py $(PYTEST_ARGS)

soak: .ci-packages $(VENV)/.ready-dev
	COOLCRUMB_SOAK=1 $(BIN)/python -m pytest tests/faults --no-cov -n 2 --dist loadgroup --timeout 3600 $(PYTEST_ARGS)

# The picture of the page in the README, made from a real run.
picture: .ci-packages $(VENV)/.ready-dev
	$(BIN)/python tests/picture.py docs/page.png

.ci-packages:
	@.ci/packages chromium mosquitto fonts-dejavu-core python3-venv

$(VENV)/bin/python:
	@.ci/packages python3-venv
	$(PYTHON) -m venv $(VENV)

$(VENV)/.ready-run: $(VENV)/bin/python pyproject.toml constraints.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e .
	@touch $@

$(VENV)/.ready-dev: $(VENV)/bin/python pyproject.toml constraints.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e ".[dev]"
	@touch $@ $(VENV)/.ready-run

.PHONY: .ci-packages

clean:
	rm -rf $(VENV) build *.egg-info .pytest_cache .mypy_cache .ruff_cache .hypothesis .coverage
