# `make demo` and `make test` set up everything they need in .venv; nothing else has to be done first.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/ready

.PHONY: demo demo-line test lint bench accuracy coverage coverage-dynamics error-rates decision-risks hard-stops soak wire-page budget-page samples clean

demo: $(READY)
	$(BIN)/keyplumb demo --out demo

# A simulated line of 300 units: recorded, limits learned, inspected, charted, held against what was planted.
demo-line: $(READY)
	$(BIN)/keyplumb demo-line --out demo-line

test: lint
	$(BIN)/python -m pytest -n 2

lint: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

# How far the numbers are from the virtual rig's truths, for both demo keyboards.
accuracy: $(READY)
	$(BIN)/python -m benchmarks.accuracy

# Whether the stated 95 % intervals hold the truth 95 times in a hundred: 1200 virtual keys, some minutes on two cores.
coverage: $(READY)
	$(BIN)/python -m benchmarks.coverage

# The same of latency, reset, sustain window and mass: 200 virtual keys pressed at several speeds and lifted in part.
coverage-dynamics: $(READY)
	$(BIN)/python -m benchmarks.ladder_coverage

# How often the statistics and the comparison cry wolf, and what they overlook: 2000 simulated pairs, some minutes.
error-rates: $(READY)
	$(BIN)/python -m benchmarks.error_rates

decision-risks: $(READY)
	$(BIN)/python -m benchmarks.decision_risks

bench: $(READY)
	$(BIN)/python -m benchmarks.run

# 200 surveys killed at random instants: every finished stroke must be there, and nearly all of the one in hand.
hard-stops: $(READY)
	$(BIN)/python -m benchmarks.hard_stops

# 24 hours of a rig's time, played fast, with a fault every hour.
soak: $(READY)
	$(BIN)/python -m benchmarks.soak

wire-page: $(READY)
	$(BIN)/python -m rig.protocol.wire_page

budget-page: $(READY)
	$(BIN)/python -m processing.budget_page

samples: $(READY)
	$(BIN)/python recordings/samples/make.py

$(READY): pyproject.toml constraints.txt
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
	  echo "keyplumb needs Python 3.11 or newer; $(PYTHON) is $$($(PYTHON) --version 2>&1). Try: make PYTHON=python3.12 $(MAKECMDGOALS)"; exit 1; }
	@$(PYTHON) -c 'import ensurepip, venv' || { \
	  echo "this Python cannot make virtual environments; on Debian and Ubuntu: apt-get install python3-venv"; exit 1; }
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt --editable '.[dev]'
	touch $(READY)

clean:
	rm -rf $(VENV) demo demo-line build *.egg-info
