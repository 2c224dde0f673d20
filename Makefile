# setup: everything from a bare machine, in .venv, node_modules, static/vendor and var.
# run:   setup, then broker, web and worker on http://127.0.0.1:8000 (PORT=9000, HTTPS=1).
# test:  setup, then linters and all tests that need no service.
# bench: setup, then print figures; one group with ONLY=start.
# screenshots: setup, then take the README's pictures of the demo (several minutes).
# lock:  write both lock files anew after a change of pyproject.toml or package.json.
.PHONY: setup run test lint format bench screenshots lock
.DEFAULT_GOAL := run

BIN := .venv/bin
export PYTHONUNBUFFERED = 1

setup:
	@bash .ci/setup

run: setup
	@exec $(BIN)/python -m coaching.serve

lint: setup
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/python manage.py makemigrations --check --dry-run

format: setup
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

test: lint
	PATH="$$PATH:$(CURDIR)/$(BIN)" node --test tests/js/
	$(BIN)/python -m pytest -n 2 --dist loadfile -m "not browser and not services"

bench: setup
	@$(BIN)/python -m tests.benchmarks $(ONLY)

screenshots: setup
	@$(BIN)/python -m coaching.demo.screenshots

lock: setup
	$(BIN)/python -m pip install --quiet uv
	$(BIN)/uv pip compile pyproject.toml --group dev --universal --python-version 3.11 --upgrade \
		--generate-hashes --no-header --no-annotate --no-emit-index-url --no-emit-find-links \
		--no-emit-package opencv-contrib-python --quiet --output-file requirements.lock
	PATH="$$PATH:$(CURDIR)/$(BIN)" npm install --package-lock-only --ignore-scripts
	$(BIN)/python .ci/strip_hosts.py package-lock.json
