# Every target sets itself up: nothing but python3 and make is needed.
PY := .venv/bin/python
SAMPLE := sample_logs/turnstone

.PHONY: demo test check bench dashboard pictures clean

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

# Every page of the dashboard as a picture: wide, on a phone, and dark (needs chromium).
pictures: .venv/ready
	$(PY) -m tests.browser.pictures

clean:
	rm -rf .venv build dist .pytest_cache .mypy_cache .ruff_cache
