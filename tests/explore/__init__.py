"""Small worlds of the real `decide`, explored to the last state: `python -m tests.explore`."""
