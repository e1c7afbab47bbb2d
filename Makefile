# Two commands matter: `make demo` and `make test`. Both need Python 3.11, make and a package registry, nothing more.
# PYTHON=... names another interpreter, VENV=... another place for the environment.

VENV ?= .venv
PYTHON ?= $(shell command -v python3.11 || command -v python3)
export VENV PYTHON
bin = $(VENV)/bin

.PHONY: help demo test check lint format types contract docs evidence evidence-status bench pins environment clean

help: ## this list
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/^([a-z-]+):.*## /\1\t/' | expand -t 18

demo: ## evaluate the invented example and name the report
	@tools/environment.sh run
	@$(bin)/monochord demo

test: environment ## all tests: of the code, of the examples in docstrings and documents, of the contract
	$(bin)/pytest -n 2

check: lint types contract test ## everything that a change must keep

lint: environment ## style and form
	$(bin)/ruff check .
	$(bin)/ruff format --check .

format: environment ## put the form right
	$(bin)/ruff check --fix .
	$(bin)/ruff format .

types: environment ## strict types
	$(bin)/mypy

contract: environment ## who may import whom
	$(bin)/lint-imports

docs: environment ## draw the pictures of the conventions, run the examples in the documents
	$(bin)/python -m docs.conventions.draw
	$(bin)/pytest tests/docs

evidence: environment ## the long seeded studies; figures go to evidence/results
	$(bin)/python -m evidence.run

evidence-status: environment ## say which stored figures are still of this code
	$(bin)/python -m evidence.run --status

bench: environment ## ratios measured in one run
	$(bin)/python -m benchmarks.run

pins: environment ## write requirements/*.txt from what stands in the environment
	$(bin)/python tools/pins.py

environment:
	@tools/environment.sh test

clean: ## remove the environment and what the tools left
	rm -rf $(VENV) .mypy_cache .pytest_cache .ruff_cache .import_linter_cache .hypothesis
