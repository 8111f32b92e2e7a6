# Two commands set everything up: `make demo` and `make test`. `make check` runs every gate.
# What is installed is named by a sum over the pinned requirements, so a change installs again.

PYTHON ?= python3
PORT ?= 8000
KILLS ?= 1000
CUTS ?= 1000
MINUTES ?= 0
export PORT

VENV := .venv
BIN := $(VENV)/bin
INSTALL := $(BIN)/python -m pip install -qq --no-input --disable-pip-version-check --require-hashes
RUN_STAMP := $(VENV)/run-$(shell cksum < requirements.txt | cut -d ' ' -f 1)
DEV_STAMP := $(VENV)/dev-$(shell cksum < requirements-dev.txt | cut -d ' ' -f 1)
BENCH_STAMP := $(VENV)/bench-$(shell cksum < requirements-bench.txt | cut -d ' ' -f 1)
APPS := config herd feed milk

.DEFAULT_GOAL := help
.PHONY: help demo up test drills fuzz bench screenshots lint types migrations deploy addresses check format requirements clean

help:
	@echo "make demo   set up, load the demo estate and serve it on 127.0.0.1:$(PORT) until Ctrl-C"
	@echo "make up     serve the book that is there"
	@echo "make test   set up and run every test"
	@echo "make fuzz   a million inputs that nobody would type, to every reader"
	@echo "make bench  measure ten years of entries against one, and against other programs"
	@echo "make drills kill and cut at random while people write; the better part of an hour"
	@echo "make check  every gate: lint, types, migrations, deploy, addresses, test"

demo: $(RUN_STAMP)
	@$(BIN)/python manage.py demo

up: $(RUN_STAMP)
	@$(BIN)/python manage.py up

# Pictures for README.md, from a demo that is being served; needs a Chromium on the path.
screenshots: $(DEV_STAMP)
	BASE_URL=http://127.0.0.1:$(PORT) $(BIN)/python -m tests.browser.screenshots

test: $(DEV_STAMP)
	$(BIN)/python -m pytest --numprocesses 2 --dist loadscope --no-loadscope-reorder --durations 12

# Ten years against one, against hand-tuned SQL and against other programs; half an hour the first
# time. On a machine with nothing else to do, KEEP=--keep writes tests/bench/latest.json.
bench: $(BENCH_STAMP)
	SWARDLINE_DATA=.swardline/bench $(BIN)/python manage.py shell -v 0 \
	  -c "from tests.bench.ten_years import main; main('$(KEEP)'.split())"

# Input that nobody would type: a million to every reader of texts and files, and calls of every
# operation of the API; an hour. Keeps tests/fuzz/latest.json.
INPUTS ?= 1000000
fuzz: $(DEV_STAMP)
	FUZZ_INPUTS=$(INPUTS) FUZZ_CASES=10 FUZZ_BODIES=40 FUZZ_REPORT=tests/fuzz/latest.json \
	  $(BIN)/python -m pytest tests/fuzz

# Every program killed and every line cut at random while eight people write, two of them in
# Chromium. KILLS= and CUTS= say how often, MINUTES= ends it sooner, KEEP=--keep writes
# tests/drills/latest.json.
drills: $(DEV_STAMP)
	$(BIN)/python -m tests.drills --kills $(KILLS) --cuts $(CUTS) --minutes $(MINUTES) $(KEEP)

lint: $(DEV_STAMP)
	$(BIN)/python -m ruff check .
	$(BIN)/python -m ruff format --check .
	$(BIN)/python -m djlint $(wildcard $(addsuffix /templates,$(APPS))) --lint --quiet

types: $(DEV_STAMP)
	$(BIN)/python -m mypy .

migrations: $(DEV_STAMP)
	$(BIN)/python manage.py makemigrations --check --dry-run

# Invented values: this looks at what production settings switch on.
deploy: $(DEV_STAMP)
	SWARDLINE_ENV=production SECRET_KEY=$$($(BIN)/python -c "import secrets; print(secrets.token_urlsafe(60))") \
	ALLOWED_HOSTS=book.example DATABASE_URL=postgresql://book@db.example/book \
	CELERY_BROKER_URL=redis://broker.example:6379/0 \
	$(BIN)/python manage.py check --deploy --fail-level WARNING

addresses:
	@if grep -n "://" requirements*.in requirements*.txt; then \
	  echo "A requirements file holds an address. Compile it with: make requirements"; exit 1; fi

check: lint types migrations deploy addresses test

format: $(DEV_STAMP)
	$(BIN)/python -m ruff check --fix .
	$(BIN)/python -m ruff format .

# For whoever changes a dependency; needs uv.
requirements:
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q -o requirements.txt requirements.in
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q -o requirements-s3.txt requirements-s3.in
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q -o requirements-dev.txt requirements-dev.in
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header -q -o requirements-bench.txt requirements-bench.in

clean:
	rm -rf $(VENV) .mypy_cache .pytest_cache .ruff_cache .hypothesis

$(RUN_STAMP): | $(BIN)/pip
	@echo "Installing what Swardline needs (once, about a minute) ..."
	@$(INSTALL) -r requirements.txt
	@$(BIN)/python -m compileall -q $(APPS)
	@touch $@

$(DEV_STAMP): | $(BIN)/pip
	@echo "Installing what Swardline and its tests need (once, about a minute) ..."
	@$(INSTALL) -r requirements-dev.txt
	@$(BIN)/python -m compileall -q $(APPS) tests
	@touch $@ $(RUN_STAMP)

$(BENCH_STAMP): $(DEV_STAMP)
	@$(INSTALL) -r requirements-bench.txt
	@touch $@

$(BIN)/pip:
	@command -v $(PYTHON) > /dev/null || \
	  { echo "There is no $(PYTHON). Install Python 3.11 or newer, or name one: make PYTHON=python3.12 demo"; exit 1; }
	@$(PYTHON) -c "import sys; sys.exit(sys.version_info < (3, 11))" || \
	  { echo "$$($(PYTHON) --version) is too old. Swardline needs Python 3.11 or newer; name one: make PYTHON=python3.12 demo"; exit 1; }
	@$(PYTHON) -c "import ensurepip, venv" 2> /dev/null || \
	  { echo "This $(PYTHON) cannot make a virtual environment. Install the package python3-venv (apt install python3-venv) and try again."; exit 1; }
	@$(PYTHON) -m venv --clear $(VENV)
