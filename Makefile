# make demo: the main job on an invented practice. make test: everything the project proves.
# The environment is set up once, in .venv; a second run starts at once.

PYTHON ?= python3
VENV ?= .venv
# More than the cores: a browser, a server or a disk is often waited for.
WORKERS ?= 3
PRACTICE ?= practice
DATE ?= $(shell date +%F)
RESULTS ?= benchmarks/results
SITE ?= site
TIMES ?= 50

bin := $(VENV)/bin
pip := $(bin)/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt

certain := tests/stats tests/hypotheses

# One thread a process: the test workers share the cores, and sums come out in one order.
export OMP_NUM_THREADS := 1
export OPENBLAS_NUM_THREADS := 1
# Compiled files are kept: a process that a test starts would compile the whole package again.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: help set-up browser demo open test prove lint style format types contracts docs readme bench clean
.DEFAULT_GOAL := help

help:
	@echo "make demo    write an invented practice and rank one of its clients"
	@echo "make open    open the practitioner's page on the folder PRACTICE=practice"
	@echo "make test    run the tests and the coverage gate: six minutes at most on two cores"
	@echo "make prove   what takes longer: random files by the ten thousand, calibration, the ledger"
	@echo "             killed a thousand times, every page in a browser"
	@echo "make lint    style, types and the import contracts"
	@echo "make docs    build the papers of docs/ as a site, in $(SITE)"
	@echo "make readme  write the output of the demo into README.md again, and the options into docs/"
	@echo "make bench   measure speed and memory, write $(RESULTS)"
	@echo "make clean   remove the environment and everything derived"

$(VENV)/bin/python:
	@$(PYTHON) -c "import sys; sys.exit(sys.version_info < (3, 11))" \
	  || { echo "miner needs Python 3.11 or later: make PYTHON=python3.11 ..." >&2; exit 2; }
	$(PYTHON) -m venv $(VENV)

$(VENV)/.installed: pyproject.toml constraints.txt | $(VENV)/bin/python
	$(pip) --editable ".[page]"
	@touch $@

$(VENV)/.installed-dev: pyproject.toml constraints.txt | $(VENV)/bin/python
	$(pip) --editable ".[dev]"
	@touch $@ $(VENV)/.installed

set-up: $(VENV)/.installed-dev

demo: $(VENV)/.installed
	$(bin)/miner demo demo-practice

# The practitioner's own page; PRACTICE=folder, made where it is not there.
open: $(VENV)/.installed
	@mkdir -p -m 700 "$(PRACTICE)"
	$(bin)/miner open "$(PRACTICE)"

# The tests of the pages use the distribution's own browser: installed where that may be done.
browser:
	@if command -v chromium >/dev/null; then :; \
	elif [ "$$(id -u)" = 0 ] && [ -f /etc/debian_version ]; then \
	  apt-get update -qq && DEBIAN_FRONTEND=noninteractive \
	  apt-get install -y -qq --no-install-recommends chromium poppler-utils fonts-liberation >/dev/null; \
	else echo "No chromium here, and it cannot be installed from here: the tests of the pages in a" \
	  "browser are skipped. Install your distribution's package 'chromium' to run them."; fi

test: $(VENV)/.installed-dev browser
	$(bin)/python -m pytest --numprocesses $(WORKERS) --dist worksteal --cov --cov-report= $(certain)
	$(bin)/python -m pytest --numprocesses $(WORKERS) --dist worksteal $(addprefix --ignore=,$(certain))
	@echo "Lines and branches of stats/ and hypotheses/ (all must be):"
	$(bin)/python -m coverage report --show-missing --skip-covered --fail-under=100

# What takes longer than a developer waits for. The random files of make test are here too, TIMES as
# many: 10,000 months in random dialects.
prove: $(VENV)/.installed-dev browser
	FUZZ_TIMES=$(TIMES) $(bin)/python -m pytest --numprocesses $(WORKERS) --dist worksteal -m "prove or cases"

lint: style format types contracts

style: $(VENV)/.installed-dev
	$(bin)/ruff check .

format: $(VENV)/.installed-dev
	$(bin)/ruff format --check .

types: $(VENV)/.installed-dev
	$(bin)/mypy
	$(bin)/mypy datasets/invented

contracts: $(VENV)/.installed-dev
	$(bin)/lint-imports --no-logo --no-cache

docs: $(VENV)/.installed-dev
	$(bin)/mkdocs build --strict --site-dir "$(abspath $(SITE))"

readme: $(VENV)/.installed-dev
	$(bin)/python tests/project/test_readme.py
	$(bin)/python tests/project/test_docs.py

bench: $(VENV)/.installed-dev
	$(bin)/python benchmarks/speed.py --date $(DATE) --out $(RESULTS)/speed.md

clean:
	rm -rf $(VENV) build dist site .coverage .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache demo-practice
