# Two commands: make demo, make test. The rest is for contributors.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
RECOVERY ?=
NOTHING_SIZES ?= 60=200 400=200 2000=200
LOUD_SIZES ?= 60=40 400=40 2000=10
MINUTES ?= 35
FUZZ_SECONDS ?= 60
SECONDS ?= 300
SESSIONS ?= 200
DRIPS ?= 500
READERS ?= 20
LATE_MS ?= 700
READY  := $(VENV)/ready
# Small matrices: see shared/__init__.py.
export OPENBLAS_NUM_THREADS ?= 1

MUTANTS ?=
.PHONY: demo test late lowest newest installed mutants attack sbom browser lint lock recovery foresight nothing loud bench kill load-test drip-test screenshots fuzz typeface exports clean

demo: $(READY)          ## load the demo exports and serve the dashboard on 127.0.0.1
	$(BIN)/fitledger demo

test: $(READY) browser  ## every test, with linter and type checker
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/mypy --platform win32 --no-warn-unreachable --cache-dir .mypy_cache/windows
	$(BIN)/python -m pytest -n 2 --dist loadfile --no-loadscope-reorder

browser:                ## Debian's Chromium and PostgreSQL for the tests, where they are missing and may be installed
	@sh .ci/chromium
	@sh .ci/postgres

lint: $(READY)          ## mend what the linter can mend
	$(BIN)/ruff check --fix . && $(BIN)/ruff format .

lock: $(READY)          ## write requirements.lock anew from pyproject.toml
	$(BIN)/uv pip compile pyproject.toml --extra dev --universal --python-version 3.11 \
	    --generate-hashes --no-header -q -o requirements.lock

fuzz: $(READY)          ## fuzz readers and mappings for FUZZ_SECONDS; atheris has wheels for Linux only and is kept beside the lock
	$(BIN)/python -m pip install --quiet --upgrade --target $(VENV)/fuzz atheris
	PYTHONPATH=$(VENV)/fuzz:. $(BIN)/python tests/fuzz/fuzz.py -max_total_time=$(FUZZ_SECONDS)

mutants: $(READY)       ## change the code on purpose, one thing at a time, and list what no test noticed in tests/mutants/mutants.md (MUTANTS="figures" for a group of tests/mutants/groups.toml, or a module)
	OPENBLAS_NUM_THREADS=1 $(BIN)/python -m tests.mutants.run $(MUTANTS)

attack: $(READY)        ## walk everything as everyone and replay the attacks of docs/security.md; prints a table (ATTACKS="sign_in names" for some)
	PYTHONPATH=. $(BIN)/python -m tests.attack.table $(ATTACKS)

late: $(READY) browser  ## the browser tests with answers that come late and out of order: what reads before it has waited fails
	LATE_MS=$(LATE_MS) $(BIN)/python -m pytest -n 2 --dist loadfile --no-loadscope-reorder tests/browser

lowest newest: $(READY) ## test the wheel with the lowest, or the newest, versions of the libraries that pyproject.toml allows
	sh tests/versions/run $@

installed: $(READY)     ## install the wheel as people do, without the lock, and ask what it starts for its health
	$(BIN)/python -m tests.versions.installed

sbom: $(READY)          ## write build/sbom.json, the list of all parts with their digests (CycloneDX), from the lock
	mkdir -p build
	$(BIN)/cyclonedx-py requirements requirements.lock --pyproject pyproject.toml --output-reproducible --short-PURLs \
	    --index-url lock: --output-file build/sbom.json

nothing: $(READY)       ## what is falsely claimed in studios in which nothing acts (NOTHING_SIZES), for MINUTES at most; goes on where it stopped
	PYTHONPATH=. $(BIN)/python -m tests.nothing.table nothing $(NOTHING_SIZES) --minutes $(MINUTES) --out tests/nothing/table.md

loud: $(READY)          ## how often what is true is found in studios in which five things are
	PYTHONPATH=. $(BIN)/python -m tests.nothing.table loud $(LOUD_SIZES) --minutes $(MINUTES) --out tests/nothing/loud.md

bench: $(READY)         ## write docs/performance.md: what must be fast beside what it stands in for; BENCH="loads places" for some of it
	$(BIN)/python -m tests.bench.table $(BENCH)

recovery: $(READY)      ## simulate what tests/recovery/recovery.md still lacks and write it anew (RECOVERY="--seconds 600" for a part; the next run goes on)
	PYTHONPATH=. $(BIN)/python -m tests.recovery.table $(RECOVERY)
	PYTHONPATH=. $(BIN)/python -m tests.recovery.claims
	PYTHONPATH=. $(BIN)/python -m tests.recovery.checked
	PYTHONPATH=. $(BIN)/python -m tests.recovery.scatter

foresight: $(READY)     ## simulate what tests/recovery/foresight.md still lacks and write it anew (FORESIGHT="--seconds 600" for a part; the next run goes on)
	PYTHONPATH=. $(BIN)/python -m tests.recovery.foresight_table $(FORESIGHT)

kill: $(READY)          ## kill a load, and a change of keys, fifty times at random moments; print what was left of the loads
	FITLEDGER_KILLS=50 $(BIN)/python -m pytest -q -s tests/robust/test_kill.py tests/robust/test_encryption.py tests/lake -k kill

load-test: $(READY)     ## SESSIONS readers click for SECONDS; prints requests, errors, percentiles and the memory of the server
	PYTHONPATH=. $(BIN)/python tests/load/sessions.py --seconds $(SECONDS) --sessions $(SESSIONS)

drip-test: $(READY)     ## READERS readers while DRIPS sockets drip their requests; prints both beside each other
	PYTHONPATH=. $(BIN)/python tests/load/drips.py --sockets $(DRIPS) --readers $(READERS)

screenshots: $(READY)   ## take the pictures that the README shows anew
	$(BIN)/python -m tests.browser.screenshots dashboard/pictures --readme

typeface: $(READY)      ## make the shipped typeface and the table of its widths anew from the font it is taken from (npm packs it)
	mkdir -p build/typeface
	cd build/typeface && npm pack --silent $$(sed -n 's/^PACKAGE: Final = "\(.*\)"/\1/p' ../../tests/typeface/make.py) && tar xzf *.tgz
	$(BIN)/python -m tests.typeface.make build/typeface/$$(sed -n 's/^IN_PACKAGE: Final = "\(.*\)"/\1/p' tests/typeface/make.py)

exports: $(READY)       ## simulate the demo studios anew
	$(BIN)/python -m warehouse_demo.simulate

clean:                  ## forget the environment and the demo warehouse
	rm -rf $(VENV) warehouse_demo/*.duckdb*

$(READY): requirements.lock pyproject.toml
	$(PYTHON) -c 'import sys; sys.exit(None if sys.version_info >= (3, 11) else "fitledger needs Python 3.11 or newer; set it with: make PYTHON=python3.12")'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --no-deps --no-build-isolation --editable .
	touch $(READY)
