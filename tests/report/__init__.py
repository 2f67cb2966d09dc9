"""Tests of the report: what is written, and whether an alteration of it is noticed."""
