# Everything a person or the CI runs. Needs Python >= 3.11, make and a package index.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed
TYPES := build/types/seamtell
DEMO ?= demo
export MPLBACKEND := Agg

.PHONY: setup demo test equality check lint types bench bench-quality figures lock clean

setup: $(STAMP)

$(STAMP): requirements.lock pyproject.toml
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "seamtell needs Python 3.11 or newer; say make PYTHON=python3.11")'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	touch $(STAMP)

demo: setup
	$(BIN)/seamtell demo $(DEMO)

# Two workers share two cores: linear algebra with threads of its own beside them takes many times as long,
# and each would compile the kernel that the other compiles.
test: setup
	$(BIN)/python -c 'from seamtell.features.kernel.batch import compile_kernel; compile_kernel()'
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -n 2 --doctest-modules --cov --cov-report=term

# The kernel against its specification on 20,000 random seams: the 1,200 of the tests may miss the few on a threshold.
equality: setup
	SEAMTELL_COVERAGE=full OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -n 2 tests/features/kernel/test_equality.py

lint: setup
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: setup
	rm -rf $(TYPES) && mkdir -p $(TYPES)
	for folder in features models pipeline data_synth; do ln -s ../../../$$folder $(TYPES)/$$folder; done
	MYPYPATH=build/types $(BIN)/mypy -p seamtell

check: lint types test equality

# The general feature libraries live apart; without a package index the rest is measured all the same.
bench: setup
	-test -x .venv-bench/bin/python || { $(PYTHON) -m venv .venv-bench && .venv-bench/bin/python -m pip install --quiet --disable-pip-version-check -r benchmarks/requirements.txt; } || rm -rf .venv-bench
	$(BIN)/python benchmarks/run.py $(BENCH)

bench-quality: setup
	test -x .venv-bench/bin/python || $(PYTHON) -m venv .venv-bench
	.venv-bench/bin/python -m pip install --quiet --disable-pip-version-check -r benchmarks/quality/requirements.txt
	nice -n 10 $(BIN)/python benchmarks/quality_side_by_side.py

figures: setup
	$(BIN)/python benchmarks/theory_figures.py
	$(BIN)/python benchmarks/yardstick.py tests/data/fullwave --out data_synth

lock: setup
	$(BIN)/pip-compile --quiet --strip-extras --no-header --no-emit-index-url --no-emit-trusted-host --no-emit-find-links --no-emit-options --allow-unsafe --extra dev --output-file requirements.lock pyproject.toml

clean:
	rm -rf $(VENV) .venv-bench build dist .mypy_cache .pytest_cache .ruff_cache
