# Two commands on a fresh machine: `make demo` and `make test`. Both set up all they need in .venv.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: help setup setup-dev demo test lint types bench mutants render targets clean debian-test-data

help:
	@echo "make demo    set up, inspect the demo photos, results in out/demo"
	@echo "make test    set up, lint, types, tests"
	@echo "make bench   accuracy against known truth, coverage suite (out/suite), time as ratios -> bench.json"
	@echo "make mutants which changes of the verdict's code no test notices (slow: a quarter of an hour on two cores)"
	@echo "make render  make the demo photos anew (slow, see demo_images/README.md)"
	@echo "make targets draw the sheets of calibration/ and the placement guide's drawings anew"
	@echo "make clean   remove .venv and out"

setup: $(VENV)/.ready
setup-dev: $(VENV)/.ready-dev

$(VENV)/bin/python:
	$(PYTHON) -m venv $(VENV)

$(VENV)/.ready: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	@touch $@

$(VENV)/.ready-dev: pyproject.toml | $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable ".[dev]"
	@touch $@ $(VENV)/.ready

# The exit code tells the verdict (3 re-fixture, 4 gauge, ...), which is no failure of the demo; 1 is a crash
# and 2 wrong use, which are.
demo: setup
	@$(BIN)/fitup inspect demo_images demo_images/kinds --job demo_images/joints.toml --out out/demo; \
	code=$$?; if [ $$code -eq 1 ] || [ $$code -eq 2 ]; then exit $$code; fi

# As many processes as cores, each with one thread of the numeric libraries. A file's tests stay together and
# in their order, so that what they share is made once.
test: setup-dev debian-test-data lint types
	OMP_NUM_THREADS=1 OPENCV_FOR_THREADS_NUM=1 \
	  $(BIN)/python -m pytest -n auto --dist loadfile --no-loadscope-reorder

lint: setup-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: setup-dev
	$(BIN)/mypy

bench: setup-dev
	$(BIN)/python -m tests.bench

# A copy is mutated, never the checkout. What was found stays there, and only what changed is run again.
mutants: $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable ".[dev,mutants]"
	@mkdir -p out/mutants && rm -rf out/mutants/fitup out/mutants/tests
	@cp -Rp fitup tests calibration pyproject.toml out/mutants
	cd out/mutants && OMP_NUM_THREADS=1 $(CURDIR)/$(BIN)/mutmut run
	@cd out/mutants && $(CURDIR)/$(BIN)/python -m tests.mutants mutants

render: $(VENV)/bin/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable ".[render]"
	$(BIN)/python demo_images/render.py

targets: setup
	$(BIN)/python calibration/draw.py
	$(BIN)/python docs/make_placement.py

# Photographs of a chessboard of known pitch from Debian's package opencv-doc, for an outside check of the
# scale; PostgreSQL, of which the tests start a server of their own; Chromium, in which the phone page is used, and
# axe-core from npm, which looks whether everybody can use it. Where they cannot be had the checks skip and say so.
debian-test-data:
	@if [ ! -d /usr/share/doc/opencv-doc ] && command -v apt-get >/dev/null && [ "$$(id -u)" = 0 ]; then \
	  apt-get install -y -q opencv-doc >/dev/null 2>&1 || \
	  { apt-get update -q >/dev/null 2>&1; apt-get install -y -q opencv-doc >/dev/null 2>&1; } || \
	  echo "opencv-doc could not be installed: its check will be skipped"; fi
	@if [ ! -d /usr/lib/postgresql ] && command -v apt-get >/dev/null && [ "$$(id -u)" = 0 ]; then \
	  apt-get install -y -q --no-install-recommends postgresql >/dev/null 2>&1 || \
	  { apt-get update -q >/dev/null 2>&1; \
	    apt-get install -y -q --no-install-recommends postgresql >/dev/null 2>&1; } || \
	  echo "postgresql could not be installed: the archive's checks with it will be skipped"; fi
	@if ! command -v chromium >/dev/null && command -v apt-get >/dev/null && [ "$$(id -u)" = 0 ]; then \
	  apt-get install -y -q --no-install-recommends chromium >/dev/null 2>&1 || \
	  { apt-get update -q >/dev/null 2>&1; \
	    apt-get install -y -q --no-install-recommends chromium >/dev/null 2>&1; } || \
	  echo "chromium could not be installed: the phone page's checks in a browser will be skipped"; fi
	@if [ ! -f out/axe/node_modules/axe-core/axe.min.js ] && command -v npm >/dev/null; then \
	  npm install --silent --no-audit --no-fund --prefix out/axe axe-core >/dev/null 2>&1 || \
	  echo "axe-core could not be installed: its check of the phone page will be skipped"; fi

clean:
	rm -rf $(VENV) out
