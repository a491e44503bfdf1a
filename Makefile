# Two commands on a fresh machine: `make demo` and `make test`. Both set up all they need in .venv.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed

.PHONY: help setup demo test lint types bench clean system-test-data

help:
	@echo "make demo   set up, inspect the demo photos, results in out/demo"
	@echo "make test   set up, lint, types, tests"
	@echo "make bench  accuracy against the demo truth; time and memory as ratios -> bench.json"
	@echo "make render make the demo photos anew (slow; needs a renderer, see demo_images/README.md)"
	@echo "make clean  remove .venv and out"

setup: $(STAMP)

$(STAMP): pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --editable ".[dev]"
	@touch $(STAMP)
