# Every target sets itself up: nothing but python3 and make is needed.
PY := .venv/bin/python
SAMPLE := sample_logs/turnstone

.PHONY: demo test check bench dashboard docs pictures clean

.venv/ready: pyproject.toml
	python3 -m venv .venv
	$(PY) -m pip install --quiet --disable-pip-version-check -e ".[dashboard,report,cluster,check,test,dev]"
	@# Once through, so that the first command has the simulation compiled.
	$(PY) -m forecast.cli finish $(SAMPLE) --no-keep > /dev/null
	touch $@

demo: .venv/ready
	$(PY) -m forecast.cli finish $(SAMPLE) --as-of 2026-09-30 --no-keep

test: .venv/ready
	$(PY) -m pytest -n 2 --dist loadgroup

check: .venv/ready
	$(PY) -m ruff check .
	$(PY) -m ruff format --check .
	$(PY) -m mypy

bench: .venv/ready
	$(PY) -m benchmarks

dashboard: .venv/ready
	$(PY) -m forecast.cli dashboard $(SAMPLE) --as-of 2026-09-30

.venv/docs: .venv/ready
	$(PY) -m pip install --quiet --disable-pip-version-check -e ".[docs]"
	touch $@

# Everything anew, so that no page or notebook output is older than the code; a warning is an error.
docs: .venv/docs
	rm -rf docs/_build
	$(PY) -m sphinx -q -W --keep-going -b html docs docs/_build/html
	$(PY) -m docs.content.links docs/_build/html
	@echo "Open docs/_build/html/index.html"

# Every page of the dashboard as a picture: wide, on a phone, and dark (needs chromium).
pictures: .venv/ready
	$(PY) -m tests.browser.pictures

clean:
	rm -rf .venv build dist docs/_build docs/studies .pytest_cache .mypy_cache .ruff_cache
