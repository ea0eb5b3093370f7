"""What the questions of a keeper are answered with: plain values, one module for each question."""
