# The words a newcomer guesses. Everything happens inside .venv.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
SERVE ?= 1
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check

.PHONY: demo test test-program lint types check bench gallery mutants recovery harden docs lock clean browser

demo: $(VENV)/run
	@$(BIN)/footwork demo demo-library
	@$(BIN)/footwork --library demo-library/library capacity
	@$(BIN)/footwork --library demo-library/library race --course demo-library/recordings/cliff-half-marathon.gpx --temperature 14
ifneq ($(SERVE),0)
	@$(BIN)/footwork --library demo-library/library serve
endif

# Compiled sources are kept and libraries start few threads of their own: the processes of the tests take all cores.
PYTEST := PYTHONDONTWRITEBYTECODE= OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1 POLARS_MAX_THREADS=2 \
	$(BIN)/python -m pytest -n auto --dist worksteal --durations=10

test: check
	@$(PYTEST) -m "not program"

test-program: browser
	@$(PYTEST) -m program

check: lint types

lint: $(VENV)/dev
	@$(BIN)/ruff check src tests benchmarks docs
	@$(BIN)/ruff format --check --quiet src tests benchmarks docs
	@$(BIN)/lint-imports
	@$(BIN)/python -m tests.tools.docstrings

types: $(VENV)/dev
	@$(BIN)/mypy

# Debian's Chromium where we may install it; elsewhere say how to get one.
browser: $(VENV)/dev
	@if command -v chromium >/dev/null || command -v chromium-browser >/dev/null || command -v google-chrome >/dev/null || [ -n "$$FOOTWORK_CHROMIUM" ]; then :; \
	elif [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then apt-get update -qq && apt-get install -y -qq chromium >/dev/null; \
	else echo "The browser tests need Chromium: install it ('sudo apt install chromium' on Debian, 'brew install --cask chromium' on macOS) or set FOOTWORK_CHROMIUM to its path."; exit 1; fi

bench: $(VENV)/dev
	@$(BIN)/python -m benchmarks.run

gallery: $(VENV)/dev
	@test -e demo-library/library || $(BIN)/footwork demo demo-library
	@$(BIN)/python -m tests.tools.gallery demo-library/library gallery

mutants: $(VENV)/dev
	@$(BIN)/python -m tests.tools.mutants

recovery: $(VENV)/dev
	@$(BIN)/python -m tests.recovery

harden: $(VENV)/dev
	@$(BIN)/python -m tests.harden

docs: $(VENV)/dev
	@$(BIN)/python docs/build.py
	@$(BIN)/python docs/constants.py
	@$(BIN)/python docs/answers.py

lock:
	@for f in run dev; do uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header requirements/$$f.in -o requirements/$$f.txt; done

clean:
	rm -rf $(VENV) demo-library build dist

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' || { echo "Footwork needs Python 3.11 to 3.13: run 'make PYTHON=python3.12 $(MAKECMDGOALS)'"; exit 1; }
	@$(PYTHON) -c 'import ensurepip' 2>/dev/null || { echo "Python's venv is missing: install it, for example 'sudo apt install python3-venv', and run make again."; exit 1; }
	@$(PYTHON) -m venv $(VENV)

$(VENV)/run: requirements/run.txt pyproject.toml | $(BIN)/python
	@$(PIP) --require-hashes -r requirements/run.txt
	@$(PIP) --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/dev: requirements/dev.txt $(VENV)/run
	@$(PIP) --require-hashes -r requirements/dev.txt
	@touch $@
