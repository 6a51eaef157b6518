# Everything that is done with a checkout. `make demo` is all that a first look needs.

SHELL := /bin/bash
.SHELLFLAGS := -o pipefail -c

PYTHON ?= python3
HOST ?= 127.0.0.1
PORT ?= 8000

BIN := .venv/bin
MANAGE := $(BIN)/python manage.py
PYTEST := $(BIN)/$(if $(COVERAGE),coverage run -m )pytest -p no:benchmark

SYSTEM_PACKAGES := python3-venv libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core
BROWSER_PACKAGES := chromium poppler-utils
BROWSER_IS_HERE := command -v chromium > /dev/null && command -v pdftoppm > /dev/null

.PHONY: demo run test test-servers check fix bench docs browser packages

demo: .venv/run-time
	@$(MANAGE) migrate --verbosity 0
	@$(MANAGE) load_demo
	@$(MANAGE) serve --host $(HOST) --port $(PORT)

run: .venv/run-time
	@$(MANAGE) migrate --verbosity 0
	@echo "To make the first person who may sign in: $(MANAGE) createsuperuser"
	@$(MANAGE) serve --host $(HOST) --port $(PORT)

# What wants the machine for itself, what runs on both shapes, and what needs the servers of the production shape.
ALONE := locking or jobs or journey or servers
SHARED := storage or locking or jobs or journey
IF_SERVERS := $(if $(and $(DATABASE_URL),$(REDIS_URL)),,and not servers)

# In parallel what can be; one after the other what races, kills or drives a browser. COVERAGE=1 counts branches.
test: .venv/develop browser
	$(PYTEST) -n auto -m "not ($(ALONE) or browser)"
	$(PYTEST) -m "($(ALONE)) and not browser $(IF_SERVERS)"
	@if $(BROWSER_IS_HERE); then $(PYTEST) -m browser; else echo "NOT RUN: the browser tests."; fi
	$(if $(COVERAGE),$(BIN)/coverage combine --quiet && $(BIN)/coverage report)

# The same promises on PostgreSQL and Redis, named by DATABASE_URL and REDIS_URL.
test-servers: .venv/develop browser
	$(PYTEST) -n auto -m "storage and not ($(ALONE) or browser)"
	$(PYTEST) -m "($(ALONE)) and not browser"
	@if $(BROWSER_IS_HERE); then $(PYTEST) -m "browser and ($(SHARED))"; else echo "NOT RUN: the browser tests."; fi

browser:
	@$(BROWSER_IS_HERE) || $(MAKE) packages PACKAGES="$(BROWSER_PACKAGES)" || true

# Stands in for a site's own settings; nothing is sent there.
PRODUCTION := DJANGO_SETTINGS_MODULE=config.settings.production ALLOWED_HOSTS=lumenkeep.example \
	SECRET_KEY=abcdefghijklmnopqrstuvwxyz-abcdefghijklmnopqrstuvwxyz \
	DATABASE_URL=postgres://nobody@127.0.0.1/none REDIS_URL=redis://127.0.0.1/0 \
	TRAIL_KEY_FILE=/run/secrets/trail_key LIST_KEY_FILE=/run/secrets/list_key

check: .venv/develop
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy .
	$(BIN)/lint-imports
	$(BIN)/djlint . --lint --quiet
	$(PRODUCTION) $(MANAGE) check --deploy --fail-level WARNING
	$(MANAGE) makemigrations --check --dry-run
	$(MANAGE) states | diff docs/states.md -
	$(MANAGE) spectacular --validate --fail-on-warn | diff docs/openapi.yaml -

fix: .venv/develop
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: .venv/develop
	$(BIN)/pytest -p no:randomly tests/benchmarks/bench_*.py

docs: .venv/develop
	$(MANAGE) states > docs/states.md
	$(MANAGE) spectacular --validate --fail-on-warn --file docs/openapi.yaml

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
		echo "Lumenkeep needs Python 3.11 or later; this is $$($(PYTHON) --version)."; \
		echo "Name a later one: make $(MAKECMDGOALS) PYTHON=python3.12"; exit 1; }
	@$(PYTHON) -c 'import ctypes, ensurepip, venv; \
		[ctypes.CDLL(f"lib{name}.so.0") for name in ("pango-1.0", "pangoft2-1.0", "harfbuzz-subset")]' \
		2> /dev/null || $(MAKE) packages PACKAGES="$(SYSTEM_PACKAGES)"
	@$(PYTHON) -m venv .venv

.venv/run-time: requirements.txt | $(BIN)/python
	@echo "Installing what requirements.txt pins into .venv; the first time takes a minute or two."
	@$(BIN)/pip install --quiet --no-compile --require-hashes -r requirements.txt
	@touch $@

.venv/develop: requirements-dev.txt | $(BIN)/python
	@echo "Installing what requirements-dev.txt pins into .venv; the first time takes a minute or two."
	@$(BIN)/pip install --quiet --no-compile --require-hashes -r requirements-dev.txt
	@touch $@ .venv/run-time

# Debian packages: installed where we may, named where we may not.
packages:
	@if [ "$$(id -u)" = 0 ] && command -v apt-get > /dev/null; then \
		export DEBIAN_FRONTEND=noninteractive; \
		apt-get update -qq && apt-get install -y -qq --no-install-recommends $(PACKAGES); \
	else \
		echo "System packages are missing. Install them, then try again:"; \
		echo "    sudo apt-get install -y $(PACKAGES)"; exit 1; \
	fi
