"""The pages and charts of benchdays; every figure comes from `forecast`."""
