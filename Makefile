# Everything runs in a virtual environment of its own under .venv; nothing else is touched.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
OUT := out
STAMP := $(shell date +%Y%m%d-%H%M%S)

.PHONY: demo demo-time test check benchmark coverage wire hands kills clean

# Runs both shipped profiles on the simulated bench and leaves records and reports under out/. It
# takes 2.5 min of computing on one core, measured: 1 min to install, 15 s, 75 s for the night.
demo: demo-time $(VENV)/.run
	@mkdir -p $(OUT)
	@echo "Acceptance: 20 min of bench time, about 15 s of computing."
	$(BIN)/steadyrail run acceptance --record $(OUT)/acceptance-$(STAMP).sqlite
	@echo "Overnight: 8.5 h of bench time, about 75 s of computing."
	$(BIN)/steadyrail run overnight --record $(OUT)/overnight-$(STAMP).sqlite

	@echo "Done. Open the reports in a browser: $(OUT)/acceptance-$(STAMP).html and $(OUT)/overnight-$(STAMP).html"

demo-time:
	@echo "The demo takes about 3 min on an idle computer; the first minute installs into $(VENV)."

test: $(VENV)/.test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/pytest -n 2 --dist loadfile --no-loadscope-reorder -m "not slow"

# Only the quick checks.
check: $(VENV)/.test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

# Speed, side by side with what a user would otherwise write; prints ratios.
benchmark: $(VENV)/.test
	$(BIN)/pytest tests/benchmarks -m slow -s
	$(BIN)/pytest tests/simulated_bench/test_physics_speed.py -s
	$(BIN)/pytest tests/drivers/test_drivers_speed.py -s

# Minutes of bad input on all roads to the simulated bench, then an acceptance run over each.
FUZZ_MINUTES ?= 5
wire: $(VENV)/.test
	FUZZ_MINUTES=$(FUZZ_MINUTES) $(BIN)/pytest -m slow -s \
	  tests/simulated_bench/test_server_long_fuzz.py tests/simulated_bench/test_server_roads.py \
	  tests/sequencer/test_whole_dialects.py

# Whole acceptance runs on benches with few instruments: a meter moved by hand, behind a scanner, read
# by a person; resistors by hand. A minute or two each.
hands: $(VENV)/.test
	$(BIN)/pytest -m slow tests/sequencer/test_whole_one_meter.py \
	  tests/sequencer/test_whole_hand_held.py tests/sequencer/test_whole_resistors.py

# How often 95 % intervals hold the truth; goes on where it was interrupted.
BENCHES ?= 1000
coverage: $(VENV)/.test
	$(BIN)/python -m tests.campaigns.coverage --benches $(BENCHES) --out $(OUT)/coverage

# Ends runs at random moments (kill, hang, guardian killed), then resumes each: safe, nothing lost,
# the same verdicts. Five seconds of computing each; goes on where it was interrupted.
KILLS ?= 200
kills: $(VENV)/.test
	$(BIN)/python tests/campaigns/kills.py --moments $(KILLS) --out $(OUT)/kills $(MORE)

# Campaigns keep each result in out/NAME/results.jsonl and go on where they were interrupted; MORE
# takes their own options, such as MORE=--afresh.
# Every fault of the simulated bench in every phase of a run; ten minutes of computing.
faults: $(VENV)/.test
	$(BIN)/python tests/campaigns/fault_matrix.py --out $(OUT)/faults $(MORE)

# Units that destroy themselves, SEEDS of each kind: all have to be stopped in time.
SEEDS ?= 100
damage: $(VENV)/.test
	$(BIN)/python tests/campaigns/damage.py --seeds $(SEEDS) --out $(OUT)/damage $(MORE)

# Memory and record over DAYS of bench time at one reading a second; a week takes twenty minutes of
# computing.
DAYS ?= 7
endurance: $(VENV)/.test
	$(BIN)/python tests/campaigns/endurance.py --days $(DAYS) --out $(OUT)/endurance

clean:
	rm -rf $(VENV) build dist

$(VENV)/.run: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check -e .
	@touch $@

$(VENV)/.test: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check --no-compile -e ".[test]"
	@touch $@
