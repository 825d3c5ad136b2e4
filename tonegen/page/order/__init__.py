"""The tuning order, step by step."""
