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
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/pytest --numprocesses auto --dist loadfile --no-loadscope-reorder $(ARGS)

bench: $(VENV)/.test  ## speed, against a general-purpose library on the same arrays
	$(BIN)/python scripts/bench.py $(ARGS)

study: $(VENV)/.study  ## long comparisons, the whole-building reference among them
	$(BIN)/pytest -m study $(ARGS)

docs: $(VENV)/.test  ## write the generated pages of docs/ anew
	$(BIN)/python scripts/docs.py

lowest:  ## the tests with the lowest versions that pyproject.toml allows (wants uv)
	@PYTHON="$(PYTHON)" UV="$(UV)" bash scripts/lowest.sh $(ARGS)

lock:  ## resolve anew: uv.lock, then requirements/*.txt from it (wants uv)
	@UV="$(UV)" bash scripts/lock.sh

clean:  ## remove what was built, the environments too
	rm -rf $(VENV) .venv-* build dist out .cache .mypy_cache .ruff_cache .pytest_cache .hypothesis
	find . -name __pycache__ -type d -prune -exec rm -rf {} +

# Each stamp stands for one set of packages in .venv. They only add to each other, so demo after test removes nothing.
$(VENV)/.run: $(LOCKED)
	@UV="$(UV)" PYTHON="$(PYTHON)" bash scripts/environment.sh $(VENV) run
	@touch $@

$(VENV)/.test: $(LOCKED)
	@UV="$(UV)" PYTHON="$(PYTHON)" bash scripts/environment.sh $(VENV) test
	@touch $@

$(VENV)/.study: $(LOCKED)
	@UV="$(UV)" PYTHON="$(PYTHON)" bash scripts/environment.sh $(VENV) study
	@touch $@
