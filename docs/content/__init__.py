"""What the pages show, made at build time from the code, the schemas and the tables of the studies."""
