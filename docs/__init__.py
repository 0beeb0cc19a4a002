"""The documentation site: `make docs` builds it."""
