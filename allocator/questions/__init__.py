"""The questions a keeper asks before the pair is set up: one module each, on the same planner and checker."""
