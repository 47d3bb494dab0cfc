# Set up, try and check fulfil. Everything is installed into .venv.
PYTHON ?= python3
BIN := .venv/bin
STAMP := .venv/installed

.PHONY: demo test check lint types layers bench lock clean

$(STAMP): pyproject.toml requirements-dev.lock
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -r requirements-dev.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --editable .
	touch $(STAMP)

demo: $(STAMP)
	$(BIN)/fulfil demo

test: $(STAMP)
	$(BIN)/python -m pytest -n 2 --dist worksteal

lint: $(STAMP)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(STAMP)
	$(BIN)/mypy

layers: $(STAMP)
	$(BIN)/lint-imports

check: lint types layers test

# BOOKS: names or folders, and options; BOOKS_DIR: a folder of books; CHECKER: another checker
bench: export BOOKS_DIR := $(BOOKS_DIR)
bench: export CHECKER := $(CHECKER)
bench: $(STAMP)
	$(BIN)/python tests/bench.py $(BOOKS)

lock: $(STAMP)
	$(BIN)/python -m pip freeze --exclude-editable | grep -v '^fulfil' > requirements-dev.lock

clean:
	rm -rf .venv build dist
