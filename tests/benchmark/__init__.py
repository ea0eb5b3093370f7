"""Rooms of every size to time the planner with, and to compare its answers on: `python -m tests.benchmark`."""
