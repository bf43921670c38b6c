# The verbs people and CI share. Each sets up what it needs.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
STAMP  := $(VENV)/.ready
DEV    := $(VENV)/.ready-dev

.PHONY: setup demo test check bench clean lock

setup: $(STAMP)

demo: $(STAMP)
	$(BIN)/blinkspan demo demo

test: check
	@tests/install_judges.sh || echo "some judges could not be installed; their tests are skipped"
	$(BIN)/python -m pytest -n auto

check: $(DEV)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: $(DEV)
	$(BIN)/python benchmarks/accuracy.py
	$(BIN)/python benchmarks/speed.py

clean:
	rm -rf $(VENV) demo build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache

# Pins for every platform, with hashes, naming no host.
lock: $(DEV)
	$(BIN)/python -m pip install -q uv
	$(BIN)/uv pip compile -q pyproject.toml --universal --python-version 3.11 --generate-hashes --no-header --no-annotate --no-emit-index-url -o requirements.lock
	$(BIN)/uv pip compile -q pyproject.toml --all-extras --universal --python-version 3.11 --generate-hashes --no-header --no-annotate --no-emit-index-url -o requirements-dev.lock

$(VENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "blinkspan needs Python 3.11 or newer; name one with: make PYTHON=python3.12"; exit 1; }
	@$(PYTHON) -c 'import ensurepip' 2>/dev/null || \
	  { if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then apt-get update -qq && apt-get install -y -qq python3-venv; \
	    else echo "this python3 has no venv module; on Debian: apt install python3-venv"; exit 1; fi; }
	$(PYTHON) -m venv $(VENV)

$(STAMP): requirements.lock pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install -q --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/python -m pip install -q --disable-pip-version-check --no-deps -e .
	@touch $@

$(DEV): requirements-dev.lock pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install -q --disable-pip-version-check --require-hashes -r requirements-dev.lock
	$(BIN)/python -m pip install -q --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@ $(STAMP)
