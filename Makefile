# Two commands for a fresh machine: `make demo` and `make test`. Everything lives in .venv; nothing is installed outside.
# uv is used where it is found (UV= on the command line turns it off), else venv and pip with requirements/*.txt,
# which `make lock` exports, with hashes, from the same uv.lock.

PYTHON ?= python3
# a uv that does not answer (a shim without its program) counts as none
UV ?= $(shell uv --version >/dev/null 2>&1 && command -v uv)
VENV := .venv
BIN := $(VENV)/bin
LOCKED := uv.lock requirements/run.txt requirements/test.txt pyproject.toml

export UV_PROJECT_ENVIRONMENT := $(VENV)
export CHROMIUM

.DEFAULT_GOAL := help
.PHONY: help demo retell test lint format types pytest bench study lowest docs lock clean

help:  ## say what there is
	@grep -hE '^[a-z]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/^([a-z]+):.*## /  make \1\t/' | expand -t 16

demo: $(VENV)/.run  ## the main job on the demo calls
	@$(BIN)/python -m wringout.demo

retell: $(VENV)/.run  ## make the demo's calls anew, after a change to the weighing
	$(BIN)/python scripts/make_demo.py

test: lint types pytest  ## everything that has to hold: lint, types, tests

lint: $(VENV)/.test  ## ruff: rules and layout
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

format: $(VENV)/.test  ## mend layout and what ruff can mend by itself
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

types: $(VENV)/.test  ## mypy, strict
	$(BIN)/mypy

pytest: $(VENV)/.test  ## the tests alone, on all cores; ARGS="-k valve" narrows them
	@bash scripts/browser.sh
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/pytest --numprocesses auto --dist loadfile $(ARGS)
