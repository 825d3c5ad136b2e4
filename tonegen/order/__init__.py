"""Tuning by ear, step by step: the plan, and how each step sounds."""
