"""The plan as one page for a browser and for paper."""
