# `make` alone lists what you can do. Every target sets itself up in a fresh clone that has Python (with pip and venv), make and a C compiler.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
UV_VERSION := 0.13.9
export UV_PYTHON_DOWNLOADS := never
export UV_PROJECT_ENVIRONMENT := $(CURDIR)/$(VENV)

.DEFAULT_GOAL := help
.PHONY: help setup demo test lint bench crash planted-faults verify-forecast clean

help: ## list the targets
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | awk -F ':.*## ' '{printf "  make %-15s %s\n", $$1, $$2}'

$(VENV)/.ready: pyproject.toml uv.lock
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@$(BIN)/python -m pip install --quiet uv==$(UV_VERSION)
	$(BIN)/uv sync --locked --inexact --compile-bytecode --quiet --python $(BIN)/python
	@touch $@

# Bytecode is made here once: where an environment forbids writing it later, every start would compile all anew.
setup: $(VENV)/.ready ## make .venv with the locked versions
	@$(BIN)/python -m compileall -q src

demo: setup ## make the Emberly demo plant, print Today, serve the pages and say where
	$(BIN)/weirhouse demo --dir demo-plant $(DEMO_ARGS)

test: setup ## run every test, a real browser included
	@$(BIN)/python tests/browser.py
	@$(BIN)/python tests/postgres.py
	OPENBLAS_NUM_THREADS=1 $(BIN)/pytest -n auto --dist loadfile $(PYTEST_ARGS)

lint: setup ## format, lint, types and import rules
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: setup ## measure speed as ratios against a peer or a limit
	$(BIN)/uv sync --locked --inexact --quiet --python $(BIN)/python --group bench
	$(BIN)/python -m benchmarks

KILLS ?= 20
CUTS ?= 2000
SEED ?= 1
crash: setup ## kill the server and cut the power over and over: KILLS=1000 CUTS=100000 SEED=1
	$(BIN)/python -m tests.crash --kills $(KILLS) --cuts $(CUTS) --seed $(SEED) $(CRASH_ARGS)

planted-faults: setup ## plant faults one by one in a copy of the program, see a test fail on each; ARGS='--write docs/reliability.md'
	$(BIN)/python -m tools.planted_faults $(ARGS)

verify-forecast: setup ## score the stream's forecast on the open records beside this project and write docs/forecast.md
	$(BIN)/python -m tools.verify_forecast

clean: ## remove what was made here
	rm -rf $(VENV) demo-plant .pytest_cache .mypy_cache .ruff_cache
