"""Pure renderers: a checked result in, text out."""
